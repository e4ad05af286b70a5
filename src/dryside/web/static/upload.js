// Files in pieces: what is on the server already is asked for first, so a broken upload goes on where it stopped.
import { ask, make, token } from "./dryside.js";

const keyOf = (file, kind) => `upload ${kind} ${file.name} ${file.size} ${file.lastModified}`;

/** A moment, cut short when the network says that it is back. */
const pause = (ms) => new Promise((resolve) => {
  const over = () => { clearTimeout(timer); removeEventListener("online", over); resolve(); };
  const timer = setTimeout(over, ms);
  addEventListener("online", over);
});

/** Try until the server answers; what it refuses is not tried again. */
async function patiently(work, wait) {
  for (let failures = 1; ; failures++) {
    try {
      const done = await work();
      if (failures > 1) wait(false);
      return done;
    } catch (problem) {
      if (problem.status && problem.status < 500) throw problem;
      wait(true);
      await pause(Math.min(5000, 300 * failures));
    }
  }
}

async function begun(file, kind, wait) {
  const known = localStorage.getItem(keyOf(file, kind));
  if (known) {
    try {
      return await patiently(() => ask(`/uploads/${known}`), wait);
    } catch {
      localStorage.removeItem(keyOf(file, kind)); // taken in, dropped or too old by now
    }
  }
  const made = await patiently(() => ask("/uploads", { method: "POST", json: { kind, name: file.name, size: file.size } }), wait);
  localStorage.setItem(keyOf(file, kind), made.id);
  return made;
}

/** Send a file; `tell(bytes)` as it goes, `wait(true)` while the server is out of reach. Gives the upload's number. */
export async function upload(file, kind, tell, wait = () => {}) {
  let state = await begun(file, kind, wait);
  tell(state.received);
  while (state.received < file.size) {
    const piece = file.slice(state.received, state.received + (state.piece ?? 4194304));
    try {
      const said = await ask(`/uploads/${state.id}?at=${state.received}`, { method: "PUT", body: piece, headers: { "content-type": "application/octet-stream" } });
      state = { ...state, received: said.received };
      tell(state.received);
    } catch (problem) {
      if (problem.status && problem.status < 500) {
        localStorage.removeItem(keyOf(file, kind));
        throw problem;
      }
      wait(true);
      await pause(300);
      state = { ...state, ...(await patiently(() => ask(`/uploads/${state.id}`), wait)) };
      wait(false);
    }
  }
  return state.id;
}

/** Send all files of some fields in turn; a word under the button says when the line is broken. */
export async function uploadAll(fields, said) {
  const wait = (broken) => { said.textContent = broken ? "The line is broken. It goes on by itself when the book answers." : "Sending …"; };
  const sent = {};
  for (const [name, field] of Object.entries(fields)) {
    sent[name] = [];
    for (const [place, file] of field.files.entries()) sent[name].push(await upload(file, field.kind, (bytes) => field.tell(place, bytes), wait));
  }
  return sent;
}

export const forget = (file, kind) => localStorage.removeItem(keyOf(file, kind));

/** Drop unfinished uploads that the page lists. */
export function unfinished(element) {
  element?.addEventListener("click", async (event) => {
    const item = event.target.closest("[data-upload]");
    if (!item || !event.target.matches("button")) return;
    await ask(`/uploads/${item.dataset.upload}`, { method: "DELETE" });
    for (const key of Object.keys(localStorage)) if (localStorage.getItem(key) === item.dataset.upload) localStorage.removeItem(key);
    item.remove();
    if (!element.querySelector("[data-upload]")) element.remove();
  });
}

/** All files below what was dropped: a folder is walked through. */
async function within(entry) {
  if (entry.isFile) return [await new Promise((resolve, refuse) => entry.file(resolve, refuse))];
  const reader = entry.createReader();
  const found = [];
  for (;;) {
    const some = await new Promise((resolve, refuse) => reader.readEntries(resolve, refuse));
    if (!some.length) return found;
    for (const one of some) found.push(...(await within(one)));
  }
}

const megabytes = (bytes) => `${(bytes / 1e6).toFixed(1)} MB`;
const EACH_SHOWN = 6;

/** A field to drop files on: gives the files chosen so far, in the order of their names. */
export function dropField(element, kind = element.dataset.kind) {
  const inputs = element.querySelectorAll("input[type=file]");
  const list = element.querySelector(".files");
  const endings = inputs[0].accept.split(",");
  const files = [];
  let bars = [];
  const row = (words, total) => {
    const bar = make("progress", { max: total, value: 0, "aria-label": `Sent of ${words}` });
    list.append(make("li", {}, `${words}, ${megabytes(total)} `, bar));
    return bar;
  };
  const add = (more) => {
    const wanted = [...more].filter((file) => !file.name.startsWith(".") && endings.some((one) => file.name.toLowerCase().endsWith(one)));
    files.push(...wanted);
    files.sort((a, b) => a.name.localeCompare(b.name, undefined, { numeric: true }));
    list.replaceChildren();
    bars = [];
    if (files.length > EACH_SHOWN) bars = [row(`${files.length} files`, files.reduce((sum, file) => sum + file.size, 0))];
    else bars = files.map((file) => row(file.name, file.size));
    const left = more.length - wanted.length;
    if (left) list.append(make("li", { class: "quiet small" }, `${left} of other kinds ${left === 1 ? "is" : "are"} left out.`));
  };
  for (const input of inputs) input.addEventListener("change", () => { add([...input.files]); input.value = ""; });
  element.addEventListener("dragover", (event) => { event.preventDefault(); element.classList.add("over"); });
  element.addEventListener("dragleave", () => element.classList.remove("over"));
  element.addEventListener("drop", async (event) => {
    event.preventDefault();
    element.classList.remove("over");
    element.closest("details")?.setAttribute("open", "");
    const entries = [...event.dataTransfer.items].map((one) => one.webkitGetAsEntry?.());
    const plain = [...event.dataTransfer.files];
    add(entries.some((one) => one?.isDirectory) ? (await Promise.all(entries.map(within))).flat() : plain);
  });
  const tell = (place, bytes) => {
    if (bars.length === files.length) bars[place].value = bytes;
    else bars[0].value = files.slice(0, place).reduce((sum, file) => sum + file.size, 0) + bytes;
  };
  return { kind, files, tell, clear: () => { files.length = 0; list.replaceChildren(); } };
}
