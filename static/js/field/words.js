// What the phone says, in the language chosen on it. All languages come with the shell, so that the
// language changes at once and without signal.
//
//   const words = await loadWords();
//   words.say("kept.sent", { sent: 5, all: 7 })    a phrase with its values
//   words.count("lots.kept", 1)                    the phrase for one or for several; %(num)s
//   words.term("stage", "top")                     a word of the trade
//   words.of({ en: "Row 3", es: "Surco 3" })       what the office has put into each language
//   words.choose("es")                             kept on the phone

const ADDRESS = "/field/phrases.json";
const KEPT_AS = "field.language";
const LANGUAGES = ["en", "es"];

export const loadWords = async (address = ADDRESS) => {
  const answer = await fetch(address);
  if (!answer.ok) {
    throw new Error(`${address} answered ${answer.status}`);
  }
  return makeWords(await answer.json());
};

export const makeWords = (phrases) => {
  const words = {
    language: firstLanguage(),
    languages: LANGUAGES,
    say: (key, values = {}) => fill(phraseOf(phrases, words.language, key), values),
    count: (key, number, values = {}) => {
      const phrase = phraseOf(phrases, words.language, key);
      return fill(number === 1 ? phrase.one : phrase.other, { num: number, ...values });
    },
    term: (group, value) => words.say(`${group}.${value}`),
    moment: (at) =>
      new Intl.DateTimeFormat(words.language, { dateStyle: "medium", timeStyle: "short" }).format(new Date(at)),
    of: (texts) => texts[words.language] ?? texts.en,
    choose: (language) => {
      words.language = language;
      localStorage.setItem(KEPT_AS, language);
    },
  };
  return words;
};

const firstLanguage = () => {
  const kept = localStorage.getItem(KEPT_AS);
  const wanted = [kept, ...navigator.languages.map((name) => name.slice(0, 2))];
  return wanted.find((language) => LANGUAGES.includes(language)) ?? "en";
};

const phraseOf = (phrases, language, key) => {
  const phrase = phrases[language][key];
  if (phrase === undefined) {
    throw new Error(`no phrase "${key}" in ${language}`);
  }
  return phrase;
};

// A place is written %(name)s, and a percent sign %%, as in the catalogue.
const fill = (text, values) =>
  text.replace(/%(?:%|\((\w+)\)s)/g, (place, name) => {
    if (name === undefined) {
      return "%";
    }
    if (!(name in values)) {
      throw new Error(`no value for ${place} in "${text}"`);
    }
    return String(values[name]);
  });
