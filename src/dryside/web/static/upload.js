// Files in pieces: what is on the server already is asked for first, so a broken upload goes on where it stopped.
import { ask, token } from "./dryside.js";

const keyOf = (file, kind) => `upload ${kind} ${file.name} ${file.size} ${file.lastModified}`;
const wait = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

async function begun(file, kind) {
  const known = localStorage.getItem(keyOf(file, kind));
  if (known) {
    try {
      return await ask(`/uploads/${known}`);
    } catch {
      localStorage.removeItem(keyOf(file, kind));
    }
  }
  const made = await ask("/uploads", { method: "POST", json: { kind, name: file.name, size: file.size } });
  localStorage.setItem(keyOf(file, kind), made.id);
  return made;
}

/** Send a file; `tell(bytes)` as it goes. Gives the upload's number. */
export async function upload(file, kind, tell) {
  let state = await begun(file, kind);
  let failures = 0;
  tell(state.received);
  while (state.received < file.size) {
    const piece = file.slice(state.received, state.received + (state.piece ?? 4194304));
    try {
      const answer = await fetch(`/uploads/${state.id}?at=${state.received}`, {
        method: "PUT", body: piece, headers: { "x-dryside-token": token(), "content-type": "application/octet-stream", accept: "application/json" },
      });
      const said = await answer.json();
      if (!answer.ok) throw Object.assign(new Error(`${said.refused?.thing}: ${said.refused?.found}. ${said.refused?.remedy ?? ""}`), { isRefusal: answer.status < 500 });
      state = { ...state, received: said.received };
      failures = 0;
      tell(state.received);
    } catch (problem) {
      if (problem.isRefusal || ++failures > 60) {
        localStorage.removeItem(keyOf(file, kind));
        throw problem;
      }
      await wait(Math.min(5000, 300 * failures));
      state = await ask(`/uploads/${state.id}`).catch(() => state);
    }
  }
  return state.id;
}

export const forget = (file, kind) => localStorage.removeItem(keyOf(file, kind));

/** A field to drop files on: gives the files chosen so far. */
export function dropField(element, changed = () => {}) {
  const input = element.querySelector("input[type=file]");
  const list = element.querySelector(".files");
  const files = [];
  const add = (more) => {
    files.push(...more);
    list.replaceChildren(...files.map((file) => {
      const item = document.createElement("li");
      item.textContent = `${file.name}, ${(file.size / 1e6).toFixed(1)} MB `;
      const bar = document.createElement("progress");
      bar.max = file.size;
      bar.value = 0;
      bar.setAttribute("aria-label", `Sent of ${file.name}`);
      item.append(bar);
      return item;
    }));
    changed(files);
  };
  input.addEventListener("change", () => { add(input.files); input.value = ""; });
  element.addEventListener("dragover", (event) => { event.preventDefault(); element.classList.add("over"); });
  element.addEventListener("dragleave", () => element.classList.remove("over"));
  element.addEventListener("drop", (event) => {
    event.preventDefault();
    element.classList.remove("over");
    element.closest("details")?.setAttribute("open", "");
    add(event.dataTransfer.files);
  });
  return { files, bar: (place) => list.children[place]?.querySelector("progress"), clear: () => { files.length = 0; list.replaceChildren(); } };
}
