// Where a tree stands and how it is reached, in words: as webapp/auditing/places.py says it.

// The tree's number in the walk, how many there are up to its wave's end, and the words for its
// place, its side and the way to it from the tree before.
export function placeOf(pkg, walk, tree, words) {
  const index = walk.findIndex((other) => other.id === tree.id);
  const here = walk[index];
  return {
    order: index + 1,
    total: walk.filter((other) => other.wave <= here.wave).length,
    place: `${words.of(pkg.rows[here.row].name)}, ${positionWords(pkg.rows[here.row], here, words)}`,
    side: sideWords(here.side, words),
    direction: directionWords(pkg, walk, index, words),
  };
}

// Panel and tree, or the position where no posts are recorded.
function positionWords(row, { position }, words) {
  const panel = panelOf(row, position);
  if (panel === null) {
    return words.say("place.tree", { position });
  }
  const tree = position - (panel - 1) * row.trees_per_panel;
  return words.say("place.panel_tree", { panel, tree });
}

function sideWords(side, words) {
  return side === "left" ? words.say("side.left") : words.say("side.right");
}

// A leg is walked out from the row's start or back to it.
function directionWords(pkg, walk, index, words) {
  const tree = walk[index];
  const before = walk[index - 1];
  const row = pkg.rows[tree.row];
  const leg = legOf(walk, tree);
  const out = goesOut(leg, tree);
  if (before === undefined || !leg.includes(before)) {
    return out
      ? words.say("place.out_from_start", { end: row.start_end })
      : words.say("place.back_to_start", { end: row.start_end });
  }
  const far = farWords(row, before, tree, words);
  const wayOn = out ? tree.position > before.position : tree.position < before.position;
  if (!wayOn) {
    return words.say("place.turn_round", { far });
  }
  return out ? words.say("place.out_on", { far }) : words.say("place.back_on", { far });
}

function farWords(row, before, tree, words) {
  const panels = Math.abs(panelOf(row, tree.position) - panelOf(row, before.position));
  if (panels > 0) {
    return words.count("place.panels", panels, { num: panels });
  }
  const trees = Math.abs(tree.position - before.position);
  return words.count("place.trees", trees, { num: trees });
}

function panelOf(row, position) {
  const trees = row.trees_per_panel;
  return trees === null ? null : Math.floor((position - 1) / trees) + 1;
}

// The trees walked in one direction: of a row and wave, or of a row and side.
function legOf(walk, tree) {
  const inRow = walk.filter((other) => other.row === tree.row);
  return walk.some((other) => other.wave > 1)
    ? inRow.filter((other) => other.wave === tree.wave)
    : inRow.filter((other) => other.side === tree.side);
}

function goesOut(leg, tree) {
  const steps = leg.slice(1).map((here, number) => Math.sign(here.position - leg[number].position));
  const balance = steps.reduce((sum, step) => sum + step, 0);
  if (balance !== 0) {
    return balance > 0;
  }
  // One tree alone, or as many steps either way: as the walk goes in a lot of one row.
  return tree.wave > 1 ? tree.wave % 2 === 1 : tree.side === "left";
}
