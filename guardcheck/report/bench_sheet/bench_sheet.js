"use strict";
(() => {
  const form = document.getElementById("sheet");
  const messages = JSON.parse(form.dataset.messages);
  const examples = JSON.parse(form.dataset.examples);
  const scales = JSON.parse(form.dataset.scales);
  const byId = (id) => document.getElementById(id);
  const say = (name, values) => messages[name].replace(/\{(\w+)\}/g, (whole, key) => values[key] ?? whole);

  // A lone surrogate cannot be written as UTF-8, a control character not in a comment: both become plain characters.
  const sound = (text) => text.replace(/[\ud800-\udbff][\udc00-\udfff]|[\ud800-\udfff]/g, (found) => (found.length === 2 ? found : "\ufffd"));
  const quoted = (text) => JSON.stringify(sound(text)).replace(/[\u007f-\u009f]/g, (c) => "\\u" + c.charCodeAt(0).toString(16).padStart(4, "0"));
  const comment = (text) => ("# " + sound(text).replace(/[\u0000-\u001f\u007f-\u009f\u2028\u2029]+/g, " ")).trimEnd();

  // The reader takes one printable line of at most 600 characters.
  const plain = (text) => text.replace(/[\p{C}\p{Zl}\p{Zp}]+/gu, " ").replace(/\s+/g, " ").trim().slice(0, 600);

  const get = (row, key) => row.querySelector(`[data-key="${key}"]`);
  const typed = (row, key) => plain(get(row, key)?.value ?? "");
  const stated = (row, key) => typed(row, key) || byId(key).value;
  const isFree = (row) => row.dataset.line === undefined;
  const unitOf = (row) => (isFree(row) ? get(row, "quantity").selectedOptions[0].dataset.unit : row.dataset.unit);
  const isUsed = (row) => !isFree(row) || ["line", "value", "scale", "note"].some((key) => typed(row, key) !== "");
  const rows = () => [...form.querySelectorAll("[data-reading]")].filter(isUsed);
  const isDivisions = (value) => /^[+-]?[\d.]+\s*div/i.test(value);

  function entries(row) {
    const value = typed(row, "value");
    const found = [
      ["line", isFree(row) ? typed(row, "line") : row.dataset.line],
      ["quantity", isFree(row) ? typed(row, "quantity") : row.dataset.quantity],
      ["value", value || "unknown"],
    ];
    if (value) {
      const scope = typed(row, "instrument") !== "meter";
      const unit = unitOf(row);
      found.push(["instrument", typed(row, "instrument")]);
      if (scope && scales[unit]) found.push(["scale", typed(row, "scale")]);
      if (scope && unit === "V") {
        const probe = byId("probe").value;
        found.push(["probe", probe]);
        if (probe && probe !== "x1") found.push(["scale_at", byId("scale_at").value]);
      }
      if (unit === "V") found.push(["place", stated(row, "place")], ["load", stated(row, "load")]);
      if (["level.white", "level.pp", "level.black"].includes(found[1][1])) found.push(["picture", stated(row, "picture")]);
    }
    found.push(["note", typed(row, "note")]);
    return found.filter(([, text]) => text !== "");
  }

  function steps() {
    const lines = [];
    for (const section of form.querySelectorAll("[data-step]")) {
      lines.push(comment(section.dataset.step));
      for (const box of section.querySelectorAll(".ticks input")) {
        lines.push(comment(`[${box.checked ? "x" : " "}] ${box.labels[0].textContent}`));
      }
      lines.push(...notes(section));
    }
    return lines;
  }

  function notes(part) {
    return [...part.querySelectorAll(".field input[data-note]")]
      .filter((input) => input.value.trim())
      .map((input) => comment(`${input.labels[0].textContent}: ${input.value}`));
  }

  function file() {
    const lines = [comment(say("file_head", { unit: form.dataset.unitName || "-" })), ...notes(form.firstElementChild)];
    lines.push("#", ...steps(), "", "format = 1");
    for (const kind of ["scope", "meter"]) {
      const accuracy = plain(byId(`${kind}_accuracy`).value);
      const coupling = kind === "scope" ? byId("coupling").value : "";
      if (accuracy || coupling) lines.push("", `[${kind}]`);
      if (accuracy) lines.push(`accuracy = ${quoted(accuracy)}`);
      if (coupling) lines.push(`coupling = ${quoted(coupling)}`);
    }
    for (const row of rows()) {
      lines.push("", "[[reading]]", ...entries(row).map(([key, text]) => `${key} = ${quoted(text)}`));
    }
    return lines.join("\n") + "\n";
  }

  function complain(input, text) {
    input.setAttribute("aria-invalid", "true");
    const note = document.createElement("span");
    note.className = "error";
    note.id = `${input.dataset.key || input.id}-error-${document.querySelectorAll(".error").length}`;
    note.textContent = text;
    input.setAttribute("aria-describedby", note.id);
    input.after(note);
    return input;
  }

  function wrongFields() {
    for (const note of form.querySelectorAll(".error")) note.remove();
    for (const input of form.querySelectorAll("[aria-invalid]")) {
      input.removeAttribute("aria-invalid");
      input.removeAttribute("aria-describedby");
    }
    const wrong = [];
    for (const kind of ["scope", "meter"]) {
      const input = byId(`${kind}_accuracy`);
      if (/^[+-]?[\d.,]+$/.test(input.value.trim())) wrong.push(complain(input, say("needs_unit", { example: "3%" })));
    }
    for (const row of rows()) {
      const unit = unitOf(row);
      const value = typed(row, "value");
      const scale = typed(row, "scale");
      if (isFree(row) && typed(row, "line") === "") wrong.push(complain(get(row, "line"), say("needs_line", {})));
      if (value && value !== "unknown" && (/^[+-]?[\d.,]+$/.test(value) || value.includes(","))) {
        wrong.push(complain(get(row, "value"), say("needs_unit", { example: examples[unit] })));
      }
      const bad = scale ? !/[a-zµμ]\s*\/\s*div/i.test(scale) : isDivisions(value);
      if (bad && scales[unit]) wrong.push(complain(get(row, "scale"), say("needs_scale", { example: scales[unit] })));
    }
    return wrong;
  }

  let saved = file();
  function save() {
    const status = byId("status");
    const wrong = wrongFields();
    if (wrong.length || rows().length === 0) {
      status.textContent = !wrong.length ? say("needs_reading", {}) : say(wrong.length === 1 ? "wrong_one" : "wrong", { n: wrong.length });
      wrong[0]?.focus();
      return;
    }
    const text = file();
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/toml" }));
    link.download = form.dataset.file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    saved = text;
    status.textContent = say("saved", { file: form.dataset.file });
  }

  byId("save").addEventListener("click", save);
  byId("print").addEventListener("click", () => window.print());
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("input", () => { byId("preview").value = file(); });
  window.addEventListener("beforeunload", (event) => { if (file() !== saved) event.preventDefault(); });
  byId("preview").value = saved;
})();
