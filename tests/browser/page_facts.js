// What a page is like, read in the page itself. Evaluated as one function; returns plain data.
() => {
  const facts = {
    title: document.title,
    language: document.documentElement.lang,
    headings: [...document.querySelectorAll("h1")].map((heading) => heading.textContent.trim()),
    links: [...document.querySelectorAll("a[href]")].map((link) => link.href),
    wide: [],
    clipped: [],
    texts: [],
  };

  const width = document.documentElement.clientWidth;
  for (const element of document.body.querySelectorAll("*")) {
    const style = getComputedStyle(element);
    const spilled = element.scrollWidth - element.clientWidth > 1;
    const isBlock = element.clientWidth > 1 && element.clientHeight > 1;
    if (isBlock && spilled && ["auto", "scroll"].includes(style.overflowX)) {
      facts.wide.push(`${place(element)} scrolls inside itself`);
    }
    if (isBlock && spilled && style.overflowX === "hidden") {
      facts.clipped.push(place(element));
    }
  }
  if (document.documentElement.scrollWidth > width) {
    const over = [...document.body.querySelectorAll("*")].filter(
      (element) => element.getBoundingClientRect().right > width + 0.5 && isSeen(element),
    );
    facts.wide.push(
      `the page is ${document.documentElement.scrollWidth} px wide: ${over.slice(0, 4).map(place).join(", ")}`,
    );
  }

  const seen = new Set();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const text = walker.currentNode.textContent.trim();
    const element = walker.currentNode.parentElement;
    if (text && !seen.has(element) && isSeen(element) && !isForEarsAlone(element)) {
      seen.add(element);
      judge(element, text);
    }
  }
  for (const entry of document.querySelectorAll("select, textarea, input:not([type=hidden])")) {
    const typed = !["radio", "checkbox"].includes(entry.type);
    if (typed && entry.value && isSeen(entry)) {
      judge(entry, entry.value);
    }
  }
  return facts;

  function judge(element, text) {
    const style = getComputedStyle(element);
    const behind = backdrop(element);
    const isDrawn = element instanceof SVGElement;
    const ink = over(colour(isDrawn ? style.fill : style.color), behind);
    const ratio = contrast(ink, behind);
    facts.texts.push({ ratio, place: place(element), text: text.slice(0, 40) });
  }

  function isSeen(element) {
    return element.checkVisibility({ opacityProperty: true, visibilityProperty: true }) &&
      element.getClientRects().length > 0;
  }

  function isForEarsAlone(element) {
    for (let at = element; at && at !== document.body; at = at.parentElement) {
      const box = at.getBoundingClientRect();
      if (getComputedStyle(at).overflow !== "visible" && box.width <= 1 && box.height <= 1) {
        return true;
      }
      // A way to skip that stands outside the page until it has the focus.
      if (box.bottom <= 0 && getComputedStyle(at).position === "absolute") {
        return true;
      }
    }
    return false;
  }

  // What is painted behind an element's text, as [red, green, blue].
  function backdrop(element) {
    const layers = [];
    for (let at = element; at; at = at.parentElement) {
      if (at instanceof SVGElement && at.ownerSVGElement) {
        const shape = shapeBehind(at, element);
        if (shape) {
          layers.push(shape);
        }
        continue;
      }
      const layer = colour(getComputedStyle(at).backgroundColor);
      if (layer[3] > 0) {
        layers.push(layer);
      }
      if (layer[3] === 1) {
        break;
      }
    }
    return layers.reverse().reduce((under, layer) => over(layer, under), [255, 255, 255]);
  }

  // Rectangles and discs fill the box that a browser gives; of other outlines nobody knows.
  function isWhole(shape) {
    return ["rect", "circle"].includes(shape.tagName);
  }

  // The last filled shape, drawn before a text and reaching under its middle.
  function shapeBehind(at, text) {
    if (at !== text) {
      return null;
    }
    const box = text.getBoundingClientRect();
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
    let found = null;
    for (const shape of text.ownerSVGElement.querySelectorAll("rect, circle, path, polygon")) {
      if (!(shape.compareDocumentPosition(text) & Node.DOCUMENT_POSITION_FOLLOWING)) {
        break;
      }
      const area = shape.getBoundingClientRect();
      const covers = area.left <= x && x <= area.right && area.top <= y && y <= area.bottom;
      const fill = getComputedStyle(shape).fill;
      if (covers && isWhole(shape) && fill !== "none" && colour(fill)[3] > 0) {
        found = colour(fill);
      }
    }
    return found;
  }

  function colour(text) {
    const parts = text.match(/[\d.]+/g)?.map(Number) ?? [0, 0, 0, 0];
    if (text.startsWith("color(srgb")) {
      return [...parts.slice(0, 3).map((part) => part * 255), parts[3] ?? 1];
    }
    return [parts[0], parts[1], parts[2], parts[3] ?? 1];
  }

  function over(layer, under) {
    const alpha = layer[3] ?? 1;
    return [0, 1, 2].map((at) => layer[at] * alpha + under[at] * (1 - alpha));
  }

  // Relative luminance and contrast as WCAG 2.2 defines them.
  function contrast(one, other) {
    const [light, dark] = [luminance(one), luminance(other)].sort((a, b) => b - a);
    return (light + 0.05) / (dark + 0.05);
  }

  function luminance(rgb) {
    const [red, green, blue] = rgb.map((value) => {
      const share = value / 255;
      return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
  }

  function place(element) {
    const names = [];
    for (let at = element; at && names.length < 3; at = at.parentElement) {
      const classes = [...at.classList].map((name) => `.${name}`).join("");
      names.unshift(at.tagName.toLowerCase() + (at.id ? `#${at.id}` : classes));
    }
    return names.join(" > ");
  }
}
