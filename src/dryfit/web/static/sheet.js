// The sheet's own few lines: light or dark, and the place of a fault in the document's text.
const dryfitSheet = (() => {
  const order = ["system", "light", "dark"];
  const words = { system: "as the system", light: "light", dark: "dark" };
  const key = "dryfit-theme";
  const stored = () => {
    const theme = localStorage.getItem(key);
    return order.includes(theme) ? theme : "system";
  };
  const show = (theme) => {
    const root = document.documentElement;
    if (theme === "system") root.removeAttribute("data-theme");
    else root.dataset.theme = theme;
    for (const button of document.querySelectorAll(".theme")) button.textContent = words[theme];
    window.dispatchEvent(new CustomEvent("dryfit-theme", { detail: theme }));
  };
  const turnTheme = () => {
    const next = order[(order.indexOf(stored()) + 1) % order.length];
    localStorage.setItem(key, next);
    show(next);
  };
  // The button is drawn anew with its title block; its word must follow each time.
  const watch = () => {
    show(stored());
    new MutationObserver(() => {
      for (const button of document.querySelectorAll(".theme")) {
        if (button.textContent !== words[stored()]) button.textContent = words[stored()];
      }
    }).observe(document.body, { childList: true, subtree: true });
  };
  show(stored());
  document.addEventListener("DOMContentLoaded", watch);
  const goToLine = (id, line) => {
    const area = document.getElementById(id);
    const lines = area.value.split("\n");
    const start = lines.slice(0, line - 1).reduce((sum, text) => sum + text.length + 1, 0);
    area.focus();
    area.setSelectionRange(start, start + (lines[line - 1] ?? "").length);
    const height = parseFloat(getComputedStyle(area).lineHeight);
    area.scrollTop = Math.max(0, (line - 4) * height);
    const numbers = document.getElementById(`${id}-numbers`);
    if (numbers) numbers.scrollTop = area.scrollTop;
  };
  const findText = (id, words) => {
    const area = document.getElementById(id);
    const at = area.value.indexOf(words);
    if (at >= 0) goToLine(id, area.value.slice(0, at).split("\n").length);
  };
  // Files go in one request; what becomes of them is drawn by the server, in every tab.
  const send = (files, place, chooser, address = "/bench/upload") => {
    if (!files.length) return;
    const form = new FormData();
    for (const file of files) form.append("file", file, file.name);
    const request = new XMLHttpRequest();
    const meter = document.createElement("progress");
    meter.max = 1;
    meter.setAttribute("aria-label", "sending the files");
    const say = (words) => { place.replaceChildren(words); };
    place.replaceChildren(meter, ` sending ${files.length} ${files.length === 1 ? "file" : "files"}`);
    request.upload.onprogress = (event) => { if (event.lengthComputable) meter.value = event.loaded / event.total; };
    request.onload = () => {
      if (chooser) chooser.value = "";
      let refused = request.status >= 400 ? { what: request.responseText, do: "" } : null;
      try { refused = JSON.parse(request.responseText).refused ?? null; } catch { /* plain words of the guard */ }
      say(refused ? `${refused.what} ${refused.do}` : "");
    };
    request.onerror = () => say("The files did not arrive: the connection was lost. Drop them again.");
    request.open("POST", address);
    request.send(form);
  };
  // The keys of the bench write into the field that had the focus last, else into the first one.
  const keyed = () => {
    const fields = [...document.querySelectorAll(".bench .keyed")];
    return fields.find((field) => field.classList.contains("at")) ?? fields[0];
  };
  const fill = (field, words) => {
    field.value = words;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const mark = (field) => {
    for (const other of document.querySelectorAll(".bench .keyed")) other.classList.toggle("at", other === field);
  };
  const press = (key) => {
    const field = keyed();
    if (!field || field.disabled) return;
    mark(field);
    const words = field.value;
    if (key === "erase") fill(field, words.slice(0, -1));
    else if (key === "-") fill(field, words.startsWith("-") ? words.slice(1) : `-${words}`);
    else if (key === "enter") enter(field);
    else fill(field, words + key);
  };
  // A field that takes its number does so at enter; from any other one goes on to the next.
  const enter = (field) => {
    if (field.closest(".keyed-field.large")) {
      field.dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true }));
      return;
    }
    const fields = [...document.querySelectorAll(".bench .keyed")];
    const next = fields[(fields.indexOf(field) + 1) % fields.length];
    mark(next);
    next.focus();
  };
  document.addEventListener("focusin", (event) => {
    if (event.target.matches?.(".bench .keyed")) mark(event.target);
    // Whoever went on to another field is done with the last one.
    else if (event.target.matches?.(".bench input, .bench select")) mark(null);
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || !document.querySelector(".bench .keyed")) return;
    if (event.target.closest("input, textarea, select")) return;
    if (/^[0-9.-]$/.test(event.key)) press(event.key);
    else if (event.key === "Backspace") press("erase");
    else if (event.key === "Enter" && !event.target.closest("button, a, summary")) press("enter");
    else return;
    event.preventDefault();
  });
  return { turnTheme, goToLine, findText, send, press, fill };
})();
window.dryfitSheet = dryfitSheet;
