// What is kept on the phone and what was sent, in one line that stands on every screen. To have no
// signal is how it is in the row: it is said, and it is no alarm.

export const keptWords = ({ counts, sync }, words) => {
  if (counts.all === 0) {
    return [words.say("kept.nothing"), ...offline(sync, words)].join(" / ");
  }
  const sent = words.say("kept.sent", { sent: counts.sent, all: counts.all });
  // The numbers stay beside each other where the line breaks.
  const parts = [words.say("kept.here"), sent.replaceAll(" ", "\u00a0")];
  return [...parts, ...offline(sync, words)].join(" / ");
};

const offline = (sync, words) =>
  sync.problem === "unreachable" || navigator.onLine === false ? [words.say("kept.offline")] : [];
