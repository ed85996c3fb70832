// One audit on the phone: its package, what was entered, and what that comes to.
//
//   const session = await openSession(store, auditId);    null where the audit or its rows are gone
//   session.pkg, session.view                             the package; readAudit of all items
//   await session.record("tree", body)                    kept on the phone, then counted
//   session.keepDraft(treeId, entry)                      a tree half answered, kept behind the taps
//   session.draftOf(treeId)                               what was kept of it, or null
//   session.gauge                                         what diameters are measured with from now on

import { readAudit } from "./audit.js";
import { lastGauge } from "./gauges.js";

export const openSession = async (store, auditId) => {
  const audit = (await store.audits()).find(({ id }) => id === auditId);
  const pkg = audit && (await store.packages()).find(({ draw }) => draw === audit.draw);
  if (!pkg) {
    return null;
  }
  const items = [...audit.items];
  let draft = await store.draft();
  const view = readAudit(pkg, items);
  const session = {
    id: auditId,
    pkg,
    view,
    gauge: lastGauge(view),
    record: async (kind, body) => {
      const { draw, standard } = pkg;
      items.push(await store.record(auditId, { draw, standard }, kind, body));
      session.view = readAudit(pkg, items);
    },
    keepDraft: (treeId, entry) => {
      draft = { audit: auditId, treeId, entry };
      return store.keepDraft(draft);
    },
    dropDraft: () => {
      draft = null;
      return store.keepDraft(null);
    },
    draftOf: (treeId) => (draft?.audit === auditId && draft.treeId === treeId ? draft.entry : null),
  };
  return session;
};
