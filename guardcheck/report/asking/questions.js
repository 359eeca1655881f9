"use strict";
(() => {
  const form = document.getElementById("questions");
  const table = JSON.parse(form.dataset.asking);
  const messages = JSON.parse(form.dataset.messages);
  const byId = (id) => document.getElementById(id);
  const fill = (text, values) => text.replace(/\{(\w+)\}/g, (whole, key) => values[key] ?? whole);
  const say = (name, values) => fill(table.say[name], values);
  const tell = (name, values) => fill(messages[name], values);
  const pattern = (text) => new RegExp(`^(?:${text.replaceAll("(?P<", "(?<")})$`, "u");
  const { bare, code, short, condition } = Object.fromEntries(
    Object.entries(table.patterns).map(([name, text]) => [name, pattern(text)]),
  );
  const place = new RegExp(table.patterns.place, "g");
  const plain = pattern(table.grammar.plain);
  const coded = pattern(table.grammar.code);

  // An answer that has to be given again.
  class Again extends Error {}
  const again = (name, values) => { throw new Again(say(name, values)); };

  // ---- Values, as the bench writes them ----
  function siText(value, unit) {
    if (!Number.isFinite(value)) return "-";
    if (value === 0) return `0 ${unit}`;
    const [mantissa, exponent] = value.toExponential(2).split("e");
    const step = Math.max(-15, Math.min(12, Math.floor(exponent / 3) * 3));
    const prefix = Object.entries(table.prefixes).find(([, power]) => power === step)[0];
    return `${Number(`${mantissa}e${exponent - step}`)} ${prefix}${unit}`;
  }

  const another = (text) => Object.entries(table.others).find(([, one]) => one.names.includes(text))?.[0];

  function unread(text, unit, spelled) {
    const other = spelled && another(spelled);
    const values = { text, wanted: table.wanted[unit], noun: other && table.others[other].noun };
    throw new Again(other && other !== unit ? tell("another", values) : tell("not_a_value", values));
  }

  function size(number, spelled, unit, text) {
    const found = table.units[unit][spelled];
    if (!found) unread(text, unit, spelled);
    return Number(`${number}e0`.replace(/[eE]([+-]?\d+)e0$|e0$/, (_, e) => `e${Number(e ?? 0) + found[0]}`)) * found[1];
  }

  function allowed(parts, nominal, unit, text) {
    if (parts.abs !== undefined) {
      const inner = plain.exec(parts.abs)?.groups;
      if (!inner || inner.tol || !(size(inner.number, inner.unit.trim(), unit, text) >= 0)) unread(text, unit);
      return;
    }
    const up = parts.tol ?? parts.up ?? parts.up2;
    const shares = up === undefined ? [] : [Number(up), Number(parts.down ?? parts.down2 ?? up)];
    if (shares.some((share) => share < 0 || share > 100)) unread(text, unit);
  }

  function read(text, unit) {
    const clean = [...text].map((c) => table.grammar.same[c] ?? c).join("").trim();
    if ([...text].length > table.grammar.longest) unread(`${text.slice(0, 40)}...`, unit);
    const short_ = coded.exec(clean)?.groups;
    const power = short_ && table.grammar.letters[unit]?.[short_.letter];
    const letters = short_ && (short_.whole || short_.part) && !(short_.whole.includes(".") && short_.part);
    const isUnit = short_ && !short_.part && another(short_.letter);
    if (letters && power !== undefined && !isUnit) {
      const nominal = Number(`${short_.part ? `${short_.whole || 0}.${short_.part}` : short_.whole}e${power}`);
      allowed(short_, nominal, unit, text);
      return nominal;
    }
    const parts = plain.exec(clean)?.groups;
    if (!parts) unread(text, unit);
    const nominal = size(parts.number, parts.unit.trim(), unit, text);
    if (!Number.isFinite(nominal) || (nominal === 0 && /[1-9]/.test(parts.number.split(/e/i)[0]))) unread(text, unit);
    allowed(parts, nominal, unit, text);
    return nominal;
  }

  // ---- What an answer means ----
  const readers = {
    text(question, text) {
      if ([...text].length > 80 || /[\p{C}\p{Zl}\p{Zp}"\\]/u.test(text)) again("plain_text", {});
      return [text, text];
    },
    choice(question, text) {
      const one = chosen(question, text);
      return [one.key, one.label.split("   ").at(-1)];
    },
    several(question, text) {
      if (text.toLowerCase() === table.none) return [table.none, table.none];
      const named = text.includes(",") ? text.split(",") : matching(question, text).length ? [text] : text.split(" ");
      const found = named.map((word) => word.trim()).filter(Boolean);
      if (found.some((word) => word.toLowerCase() === table.none)) again("none_and_more", {});
      const picked = found.map((word) => chosen(question, word));
      const listed = question.choices.filter((one) => picked.includes(one));
      return [listed.map((one) => one.key).join(", "), listed.map((one) => one.label).join("; ")];
    },
    part(question, text) {
      const word = text.toLowerCase().replace(/[ -]/g, "");
      const named = Object.keys(question.parts).filter((name) => word.startsWith(name));
      named.sort((a, b) => a.length - b.length);
      if (Object.values(question.parts).includes(text)) return [text, text];
      if (!named.length) {
        const known = Object.keys(question.parts).map((name) => name.toUpperCase()).join(", ");
        again("no_part", { text: text.slice(0, 40), parts: known });
      }
      const name = question.parts[named.at(-1)];
      return [name, say("part", { text, name })];
    },
    value(question, text) {
      if (question.over_range && table.over.includes(text.toLowerCase())) return [table.over_range, say("over_range", {})];
      const { unit } = question;
      if (unit === "F" && code.test(text)) again("code", { text, meant: siText(Number(`${text.slice(0, 2)}e${text[2] - 12}`), "F") });
      if (unit === "F" && bare.test(text)) again("bare", { text });
      const found = short.exec(text);
      const typed = found ? `${found[1]} ${found[2]}${unit}` : bare.test(text) ? `${text} ${unit}` : text;
      const written = typed.replaceAll(",", ".");
      return [written, siText(read(written, unit), unit)];
    },
  };

  function matching(question, text) {
    const word = text.toLowerCase();
    const named = question.choices.filter((one) => word === one.key.toLowerCase() || one.words.includes(word));
    const at = /^[0-9]{1,2}$/.test(word) ? Number(word) : 0;
    return named.length || !at ? named : question.choices.slice(at - 1, at);
  }

  function chosen(question, text) {
    const found = matching(question, text);
    if (found.length > 1) again("which", { labels: found.map((one) => one.label).join(" / ") });
    if (!found.length) again("none_of_them", { text: text.slice(0, 40), count: question.choices.length });
    return found[0];
  }

  function heard(question, answer, answers) {
    const text = answer.trim().split(/\s+/).join(" ");
    if (table.not_known.includes(text.toLowerCase())) return [null, say("not_known", { cost: question.cost })];
    const [value, said] = readers[question.kind](question, text);
    return [value, say("heard", { said: question.shade ? shaded(value, said, answers) : said })];
  }

  function shaded(value, said, answers) {
    const { load, series, rate, usual } = table.shade;
    const behind = load + (answers.series ? read(answers.series, "ohm") : series);
    const share = (farads) => (farads > 0 ? Math.tanh(1 / (4 * Number(answers.rate ?? rate) * behind * farads)) : 1);
    const percent = (x) => String(Number((100 * x).toExponential(1)));
    const own = share(read(value, "F"));
    const told = say("shade", { said, share: percent(own) });
    if (own <= share(usual) * 1.01) return told;
    return say("shade_usual", { said: told, usual: siText(usual, "F"), usual_share: percent(share(usual)) });
  }

  // ---- What is asked, and the file ----
  function holds(when, answers) {
    return !when || when.split(" and ").every((one) => {
      const [, turned, name, otherwise, sign, keys] = condition.exec(one);
      const found = answers[name] || otherwise;
      if (!sign) return Boolean(found) !== Boolean(turned);
      const named = keys.toLowerCase().split(", ");
      return Boolean(found) && found.toLowerCase().split(", ").some((key) => named.includes(key)) === (sign === "=");
    });
  }

  function jobText(answers) {
    const known = { ...answers };
    for (const piece of table.pieces) {
      const lines = piece.parts.filter(([when]) => holds(when, known)).flatMap(([, found]) => found);
      const filled = lines.map((line) => line.replace(place, (_, name, otherwise) => known[name] || otherwise || ""));
      known[piece.name] = filled.join(piece.join) || null;
    }
    return `${known[table.pieces.at(-1).name]}\n`;
  }

  const picksOf = (question) => [...form.querySelectorAll(`input[name="${question.id}"]`)];

  function typed(question) {
    const text = byId(question.id).value;
    if (text.trim() || !question.choices.length) return text;
    return picksOf(question).filter((one) => one.checked).map((one) => one.value).join(", ");
  }

  function show(question, text, kind) {
    const said = byId(`${question.id}-said`);
    if (said.textContent !== text) said.textContent = text;
    said.dataset.kind = kind;
    byId(question.id).setAttribute("aria-invalid", String(kind === "wrong"));
  }

  // Go through the questions as they are asked; return the answers and the fields that cannot be understood.
  function asked() {
    const answers = {};
    const wrong = [];
    for (const question of table.questions) {
      const due = holds(question.when, answers);
      form.querySelector(`[data-question="${question.id}"]`).hidden = !due;
      if (!due) continue;
      try {
        const [value, said] = heard(question, typed(question), answers);
        answers[question.id] = value;
        show(question, said, value === null ? "open" : "heard");
      } catch (error) {
        if (!(error instanceof Again)) throw error;
        answers[question.id] = null;
        wrong.push(byId(question.id));
        show(question, error.message, "wrong");
      }
    }
    return { answers, wrong };
  }

  function renew() {
    const { answers } = asked();
    const values = Object.values(answers);
    byId("preview").value = jobText(answers);
    byId("status").textContent = tell("counted", { known: values.filter((one) => one !== null).length, all: values.length });
  }

  // A word typed beside choices ticks them, a tick clears the word: one answer is seen, not two.
  function matched(event) {
    const question = table.questions.find((one) => one.id === (event.target.name || event.target.id));
    if (!question?.choices.length) return;
    if (event.target.name) {
      byId(question.id).value = "";
      return;
    }
    let keys = [""];
    try {
      keys = (heard(question, event.target.value, {})[0] ?? "").split(", ");
    } catch (error) {
      if (!(error instanceof Again)) throw error;
    }
    for (const one of picksOf(question)) one.checked = keys.includes(one.value);
  }

  let saved = "";
  function save() {
    const { answers, wrong } = asked();
    if (wrong.length) {
      byId("status").textContent = tell(wrong.length === 1 ? "wrong_one" : "wrong", { n: wrong.length });
      wrong[0].focus();
      return;
    }
    saved = jobText(answers);
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([saved], { type: "application/toml" }));
    link.download = form.dataset.file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    byId("status").textContent = tell("saved", { file: form.dataset.file });
  }

  byId("save").addEventListener("click", save);
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("input", (event) => { matched(event); renew(); });
  window.addEventListener("beforeunload", (event) => { if (byId("preview").value !== saved) event.preventDefault(); });
  renew();
  saved = byId("preview").value;
})();
