// Logging frames with the phone. A tap writes to the phone first; what is there is sent whenever the book answers.
import { make } from "./dryside.js";
import { drop, entries, keep, recall, remember } from "./field-store.js";

const by = (id) => document.getElementById(id);
const form = by("log-form");
let state = { rolls: [], token: document.querySelector('meta[name="dryside-token"]').content };
let chosen = null;
let sending = false;
let clockOffMs = 0;
const CLOCK_OFF_FROM_MS = 120_000;

/** The time by the book's clock where the phone's is wrong, as it was known when the book was in reach last. */
const isoNow = () => {
  const now = new Date(Date.now() + clockOffMs);
  const minutes = -now.getTimezoneOffset();
  const pad = (value) => String(Math.floor(Math.abs(value))).padStart(2, "0");
  return `${new Date(now.getTime() + minutes * 60000).toISOString().slice(0, 19)}${minutes < 0 ? "-" : "+"}${pad(minutes / 60)}:${pad(minutes % 60)}`;
};
const newId = () => crypto.randomUUID?.() ?? [...crypto.getRandomValues(new Uint8Array(16))].map((one) => one.toString(16).padStart(2, "0")).join("");

function following(label, format) {
  const match = /^(\d+)(A?)$/.exec(label);
  if (!match) return label === "00" ? "0" : "1";
  if (format === "half") return match[2] ? String(Number(match[1]) + 1) : `${match[1]}A`;
  return `${Number(match[1]) + 1}${match[2]}`;
}

const order = (label) => (label === "00" ? -1 : parseFloat(label) + (label.endsWith("A") ? 0.5 : 0));
const ofRoll = (all, roll) => all.filter((one) => one.roll === roll.code && one.kind === "frame" && one.state !== "back");

function nextLabel(roll, all) {
  let next = roll.next;
  for (const one of ofRoll(all, roll)) if (one.label && one.state !== "refused" && order(one.label) >= order(next)) next = following(one.label, roll.format);
  return next;
}

// --- the page ---------------------------------------------------------------------------------------------------

async function draw() {
  const all = await entries();
  by("clock").hidden = !clockOffMs;
  by("no-rolls").hidden = state.rolls.length > 0;
  const roll = state.rolls.find((one) => one.code === chosen) ?? state.rolls[0];
  by("rolls").replaceChildren(...state.rolls.map((one) => make("label", { class: "camera" },
    make("input", { type: "radio", name: "roll", value: one.code, ...(one === roll ? { checked: true } : {}), onchange: () => choose(one.code) }),
    make("span", {}, make("strong", {}, one.camera ?? "No camera said"), make("span", { class: "quiet small" }, [one.title, one.stock, one.code].filter(Boolean).join(", "))))));
  for (const part of [form, by("logged-part"), by("text-part")]) part.hidden = !roll;
  by("field-page").dataset.drawn = "yes";
  if (!roll) return;
  const first = chosen === null;
  chosen = roll.code;
  const own = ofRoll(all, roll);
  by("next-label").textContent = nextLabel(roll, all);
  if (first) await repeat(roll, own);
  const rows = own.sort((a, b) => (a.taken_at < b.taken_at ? 1 : -1)).slice(0, 60);
  by("logged").replaceChildren(...rows.map((one) => make("li", {},
    make("strong", {}, one.label ?? "–"), make("span", {}, one.words || "no words"),
    make("span", { class: "quiet small" }, [one.taken_at.slice(11, 16), one.latitude !== undefined && one.latitude !== null ? "with place" : ""].filter(Boolean).join(", ")),
    make("span", { class: `mark ${one.state === "kept" ? "good" : one.state === "refused" ? "late" : ""}` }, { waiting: "on the phone", kept: "in the book", refused: "not taken" }[one.state] ?? ""),
    one.said ? make("span", { class: "small said-of-entry" }, one.said) : null,
    one.state === "refused" ? make("span", { class: "row said-of-entry" },
      make("button", { type: "button", onclick: async () => { await keep({ ...one, state: "waiting", said: "" }); await draw(); send(); } }, "Send it again"),
      make("button", { type: "button", class: "plain", onclick: () => takeOut(one) }, "Take it out")) : null)));
  if (!rows.length) by("logged").replaceChildren(make("li", { class: "quiet" }, roll.last ? `In the book up to frame ${roll.last.label}: ${roll.last.words}` : "Nothing yet."));
}

async function choose(code) {
  chosen = code;
  await remember("chosen", code);
  const roll = state.rolls.find((one) => one.code === code);
  await repeat(roll, ofRoll(await entries(), roll));
  await draw();
}

/** The settings of the frame before stand in the fields. */
async function repeat(roll, own) {
  const last = own.filter((one) => one.settings).sort((a, b) => (a.taken_at < b.taken_at ? 1 : -1))[0];
  const from = last ? last.settings : { shutter: roll.last?.shutter, aperture: roll.last?.aperture, focal: roll.last?.focal_mm };
  form.shutter.value = from.shutter ?? "";
  form.aperture.value = from.aperture ?? "";
  form.focal.value = from.focal ?? "";
}

// Taps come one after the other, in all tabs of the page: each sees the number of the one before.
let turn = Promise.resolve();
function inTurn(work) {
  const done = turn.then(() => (navigator.locks ? navigator.locks.request("dryside-log", work) : work()));
  turn = done.catch(() => null);
  return done;
}
const others = "BroadcastChannel" in self ? new BroadcastChannel("dryside-field") : null;
others?.addEventListener("message", () => draw());

form.addEventListener("submit", (event) => {
  event.preventDefault();
  inTurn(logFrame).catch((problem) => {
    by("log-said").className = "refusal";
    by("log-said").textContent = `The phone could not keep it (${problem.message}). Write it down, and make room on the phone.`;
  });
});

async function logFrame() {
  const roll = state.rolls.find((one) => one.code === chosen);
  const settings = { shutter: form.shutter.value.trim(), aperture: form.aperture.value.trim().replace(/^f\/?/i, ""), focal: form.focal.value.trim().replace(/\s*mm$/i, "") };
  const words = [settings.shutter, settings.aperture && `f${settings.aperture}`, settings.focal && `${settings.focal}mm`, form.words.value.trim()].filter(Boolean).join(" ");
  const entry = { client_id: newId(), kind: "frame", roll: roll.code, label: nextLabel(roll, await entries()), taken_at: isoNow(), words, settings, state: "waiting", placing: form.place.checked };
  await keep(entry);
  form.words.value = "";
  by("log-said").className = "";
  by("log-said").replaceChildren(`Frame ${entry.label} is logged. `, make("button", { type: "button", class: "plain", onclick: () => takeOut(entry) }, "Undo"));
  navigator.vibrate?.(30);
  others?.postMessage("logged");
  await draw();
  if (entry.placing) place(entry.client_id);
  else send();
}

/** A frame logged by mistake goes out again; the book is told when it is in reach, since it may have it already. */
async function takeOut(entry) {
  const now = (await entries()).find((one) => one.client_id === entry.client_id);
  if (!now) return;
  await keep({ ...now, state: "back", placing: false });
  by("log-said").className = "";
  by("log-said").replaceChildren(`Frame ${now.label} is taken out. `, make("button", { type: "button", class: "plain", onclick: async () => {
    await keep({ ...now, client_id: newId(), state: "waiting", placing: false });
    by("log-said").textContent = `Frame ${now.label} is logged again.`;
    await draw();
    send();
  } }, "Undo"));
  others?.postMessage("taken out");
  await draw();
  send();
}

function place(id) {
  const settle = async (found) => {
    const entry = (await entries()).find((one) => one.client_id === id);
    if (!entry || !entry.placing) return;
    const { latitude, longitude, altitude } = found?.coords ?? {};
    await keep({ ...entry, placing: false, ...(found ? { latitude, longitude, altitude_m: altitude ?? null } : {}) });
    await draw();
    send();
  };
  if (!navigator.geolocation) return settle(null);
  const refused = (why) => {
    if (why.code === 1) by("place-said").textContent = "The phone does not allow the place. Frames are logged without it.";
    settle(null);
  };
  navigator.geolocation.getCurrentPosition(settle, refused, { enableHighAccuracy: true, timeout: 8000, maximumAge: 20000 });
}

by("note-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const note = by("note").value;
  if (!note.trim() || !chosen) return;
  await keep({ client_id: newId(), kind: "note", roll: chosen, note, taken_at: isoNow(), state: "waiting" });
  by("note").value = "";
  await remember("draft", "");
  by("note-said").textContent = "Kept on the phone.";
  send();
});
by("note").addEventListener("input", () => remember("draft", by("note").value));

// --- sending ----------------------------------------------------------------------------------------------------

async function post(path, content) {
  const answer = await fetch(path, { method: "POST", headers: { "content-type": "application/json", accept: "application/json", "x-dryside-token": state.token }, body: JSON.stringify(content), signal: AbortSignal.timeout(20_000) });
  const said = await answer.json();
  if (!answer.ok) throw Object.assign(new Error(said.refused ? `${said.refused.thing}: ${said.refused.found}` : "not taken"), { status: answer.status });
  return said;
}

async function send() {
  if (sending) return;
  sending = true;
  try {
    if (!(await refresh())) return;
    const waiting = (await entries()).filter((one) => one.state === "waiting" && !one.placing);
    const frames = waiting.filter((one) => one.kind === "frame");
    for (let start = 0; start < frames.length; start += 200) {
      const part = frames.slice(start, start + 200);
      const said = await post("/field/frames", { entries: part.map(({ client_id, roll, label, taken_at, words, latitude, longitude, altitude_m }) => ({ client_id, roll, label, taken_at, words, latitude, longitude, altitude_m })) });
      for (const one of said.kept) {
        const entry = (await entries()).find((each) => each.client_id === one.client_id);
        if (!entry || entry.state === "back") continue; // taken out while it was on its way
        await keep({ ...entry, state: one.state === "refused" ? "refused" : "kept", label: one.label ?? entry.label, said: one.said });
      }
    }
    const back = (await entries()).filter((each) => each.state === "back");
    for (const one of back) {
      try {
        await post("/field/back", { client_id: one.client_id });
        await drop(one.client_id);
      } catch (problem) {
        if (!problem.status || problem.status >= 500) throw problem;
        await keep({ ...one, state: "kept", said: problem.message });
      }
    }
    for (const one of waiting.filter((each) => each.kind === "note")) {
      try {
        const said = await post("/field/note", { roll: one.roll, note: one.note });
        await drop(one.client_id);
        by("note-said").textContent = `${said.imported} frames taken from the note. ${said.problems.map((each) => each.found).join(" ")}`;
        if (said.problems.length) by("note").value = said.problems.map((each) => each.text).join("\n");
        if (said.differ.length) {
          by("note-said").textContent += ` The book says otherwise of ${said.differ.join(", ")} and kept its own; mend those on the roll’s page. Your note stands here still.`;
          by("note").value = one.note;
        }
        await remember("draft", by("note").value);
      } catch (problem) {
        if (!problem.status) throw problem;
        by("note-said").textContent = problem.message;
        by("note").value = one.note;
        await drop(one.client_id);
      }
    }
    if (waiting.length || back.length) await refresh();
  } catch (problem) {
    reach(problem.status ? problem.message : null);
  } finally {
    sending = false;
    await draw();
  }
}

function reach(words, good = false) {
  by("reach").className = `reach ${good ? "good" : ""}`;
  by("reach").textContent = words ?? "Out of reach: frames stay on the phone";
}

async function refresh() {
  try {
    const answer = await fetch("/field/state", { headers: { accept: "application/json" }, cache: "no-store", signal: AbortSignal.timeout(8000) });
    if (!answer.ok || !(answer.headers.get("content-type") ?? "").includes("json")) {
      reach(null);
      if (answer.redirected) by("reach").replaceChildren(make("a", { href: "/login?to=/field" }, "Come in again to send"));
      return false;
    }
    state = await answer.json();
    await remember("rolls", state.rolls);
    const off = state.now ? Date.parse(state.now) - Date.now() : 0;
    clockOffMs = Math.abs(off) > CLOCK_OFF_FROM_MS ? off : 0;
    await remember("clock", clockOffMs);
    reach("In reach of the book", true);
    return true;
  } catch {
    reach(null);
    return false;
  }
}

const KEPT_DAYS = 60;
async function forgetOld() {
  const oldest = Date.now() - KEPT_DAYS * 86_400_000;
  for (const one of await entries()) if (one.state === "kept" && Date.parse(one.taken_at) < oldest) await drop(one.client_id);
}

async function begin() {
  if ("serviceWorker" in navigator) navigator.serviceWorker.register("/field-worker.js", { scope: "/field" }).catch(() => null);
  navigator.storage?.persist?.();
  state.rolls = (await recall("rolls")) ?? [];
  clockOffMs = (await recall("clock")) ?? 0;
  form.place.checked = (await recall("place")) ?? false;
  form.place.addEventListener("change", () => remember("place", form.place.checked));
  await forgetOld();
  const before = await recall("chosen");
  by("note").value = (await recall("draft")) ?? "";
  for (const one of await entries()) if (one.placing) await keep({ ...one, placing: false });
  if (state.rolls.some((one) => one.code === before)) await choose(before);
  await draw();
  await send();
  if (chosen === null && before) chosen = before;
  await draw();
  addEventListener("online", send);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
  setInterval(async () => {
    if ((await entries()).some((one) => one.state === "waiting" || one.state === "back")) send();
  }, 5000);
}
begin();
