// The walk of one audit: the drawn trees in order, with trees of the reserve in place of those that
// turned out not to be one. The office numbered every place that a tree of the reserve can take
// (`ranks`), so that the phone only compares numbers.

// `replacements` are { gone, kind, instead } in the order in which they were noted; `instead` is
// null where the reserve was used up.
export function walkOf(pkg, replacements) {
  const trees = new Map(pkg.trees.map((tree) => [tree.id, tree]));
  const walk = pkg.trees.filter((tree) => tree.order !== null);
  for (const { gone, instead } of replacements) {
    replace(walk, gone, trees.get(instead));
  }
  return walk;
}

// The trees of the reserve that this audit has not taken, the next one first.
export function reserveLeft(pkg, replacements) {
  const taken = new Set(replacements.map(({ instead }) => instead));
  return pkg.trees
    .filter((tree) => tree.order === null && !taken.has(tree.id))
    .sort((one, other) => one.reserve - other.reserve);
}

function replace(walk, gone, reserve) {
  const here = walk.findIndex((tree) => tree.id === gone);
  const { wave } = walk[here];
  walk.splice(here, 1);
  if (reserve) {
    // Its wave may have passed the tree already: then it comes next.
    const taken = { ...reserve, wave };
    const next = walk.findIndex((tree, at) => at >= here && rankOf(tree) > rankOf(taken));
    walk.splice(next === -1 ? walk.length : next, 0, taken);
  }
}

function rankOf(tree) {
  return tree.order === null ? tree.ranks[tree.wave - 1] : tree.ranks[0];
}
