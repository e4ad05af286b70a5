// A roll's frames: keys along the strip, the frame large, its line written in place.
import { ask, make } from "./dryside.js";

const strip = document.getElementById("strip");
const form = document.getElementById("line-form");
const input = document.getElementById("line");
const said = document.getElementById("line-said");

const items = () => [...(strip?.querySelectorAll(":scope > li") ?? [])];
let chosen = null;

function choose(item, { focus = true } = {}) {
  if (!item) return;
  chosen?.classList.remove("chosen");
  for (const one of items()) one.querySelector("button").tabIndex = one === item ? 0 : -1;
  chosen = item;
  item.classList.add("chosen");
  item.scrollIntoView({ block: "nearest", inline: "nearest" });
  if (focus) item.querySelector("button").focus({ preventScroll: true });
  show(item);
  input.value = item.dataset.line;
  history.replaceState(null, "", `#frame-${item.dataset.label}`);
}

function show(item) {
  const large = document.getElementById("frame-large");
  if (large) {
    if (item.dataset.picture) large.src = `${item.dataset.picture}/1600.jpg`;
    else large.removeAttribute("src");
    large.alt = item.dataset.picture ? item.dataset.caption || `Frame ${item.dataset.label}` : "No picture of this frame yet";
  }
  document.getElementById("frame-title").textContent = [`Frame ${item.dataset.label}`, item.dataset.caption].filter(Boolean).join(": ");
  document.getElementById("frame-settings").textContent = [item.dataset.settings, item.dataset.rating].filter(Boolean).join("   ");
  document.getElementById("frame-when").textContent = [item.dataset.when, item.dataset.place].filter(Boolean).join(", ");
}

strip?.addEventListener("click", (event) => choose(event.target.closest("li")));
strip?.addEventListener("keydown", (event) => {
  const all = items();
  const place = all.indexOf(event.target.closest("li"));
  const to = { ArrowRight: place + 1, ArrowLeft: place - 1, Home: 0, End: all.length - 1 }[event.key];
  if (to !== undefined) {
    event.preventDefault();
    choose(all[Math.max(0, Math.min(all.length - 1, to))]);
  } else if (event.key === "Enter") {
    event.preventDefault();
    choose(event.target.closest("li"));
    input.focus();
  }
});

input?.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  event.preventDefault();
  if (chosen) choose(chosen);
  else input.value = "";
});

form?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const before = items().indexOf(chosen);
  try {
    const written = await ask(form.action, { method: "POST", form: new FormData(form) });
    said.className = "";
    said.replaceChildren(`Frame ${written.label} is written. `);
    if (written.undo) said.append(undoButton(written.undo));
    if (written.is_new) return location.reload();
    const item = items().find((one) => one.dataset.label === written.label);
    Object.assign(item.dataset, { line: written.line, caption: written.caption ?? "", rating: "★".repeat(written.rating ?? 0) });
    item.querySelector(".under span:last-child").textContent = item.dataset.rating;
    item.querySelector("button").setAttribute("aria-label", `Frame ${written.label}${written.caption ? `: ${written.caption}` : ""}`);
    choose(items()[Math.min(items().length - 1, before + 1)] ?? item);
  } catch (problem) {
    said.className = "refusal";
    said.textContent = problem.message;
    input.focus();
  } finally {
    delete form.dataset.sent;
  }
});

function undoButton(id) {
  return make("button", { type: "button", class: "plain", onclick: async () => {
    await ask(`/undo/${id}`, { method: "POST" }).catch(() => null);
    location.reload();
  } }, "Undo");
}

function fromAddress() {
  const item = location.hash.startsWith("#frame-") && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (item) choose(item, { focus: false });
  else if (items().length) {
    for (const [place, one] of items().entries()) one.querySelector("button").tabIndex = place ? -1 : 0;
  }
}
fromAddress();
addEventListener("hashchange", fromAddress);
