// Adding captures, and queueing a roll's positives.
import { ask, make } from "./dryside.js";
import { follow, followAll } from "./jobs.js";
import { dropField, forget, unfinished, uploadAll } from "./upload.js";

const jobs = document.getElementById("jobs");

function show(job, words) {
  if (document.querySelector(`[data-job="${job.id}"]`)) return;
  const bar = make("div", { class: "job", "data-job": job.id, "data-state": job.state },
    make("p", { class: "job-words" }, make("strong", {}, `${words} `), make("span", { class: "job-message", role: "status" }, "waiting")),
    make("progress", { "aria-label": "How far it is", max: 1, value: 0 }),
    make("div", { class: "row" }, make("form", { onsubmit: async (event) => { event.preventDefault(); await ask(`/jobs/${job.id}/cancel`, { method: "POST" }); } }, make("button", { class: "plain" }, "Cancel"))));
  jobs.prepend(bar);
  bar.addEventListener("over", (event) => event.detail.kind === "look" && event.detail.state === "done" && location.reload());
  follow(bar);
  bar.scrollIntoView({ block: "nearest" });
}

const look = document.getElementById("look-form");
async function begin() {
  look.hidden = true;
  show(await ask(look.action, { method: "POST" }), "Looking");
}
look?.addEventListener("submit", (event) => { event.preventDefault(); begin(); });
// What was added by a command is looked at when its page is opened first.
if (look && !document.querySelector("[data-job]")) begin();

document.getElementById("queue-form")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  show(await ask(event.target.action, { method: "POST" }), "Positives");
  delete event.target.dataset.sent;
});

const form = document.getElementById("add-form");
if (form) {
  const said = document.getElementById("add-said");
  const [captures, flat] = ["capture", "flat"].map((kind) => dropField(form.querySelector(`[data-kind=${kind}]`), "capture"));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!captures.files.length) return void (said.textContent = "Choose captures first.");
    const button = document.getElementById("add-button");
    button.disabled = true;
    said.className = "";
    said.textContent = "Sending …";
    try {
      const sent = await uploadAll({ captures, flat }, said);
      const job = await ask("/negatives", { method: "POST", json: { roll: form.dataset.roll, uploads: sent.captures, flat: sent.flat[0] ?? null } });
      [...captures.files, ...flat.files].forEach((file) => forget(file, "capture"));
      captures.clear();
      flat.clear();
      said.textContent = "They are here. The film is being looked for.";
      show(job, "Looking");
    } catch (problem) {
      said.className = "refusal";
      said.textContent = problem.message;
    } finally {
      button.disabled = false;
    }
  });
}
followAll();
unfinished(document.getElementById("unfinished"));
document.addEventListener("over", (event) => {
  if (event.detail.kind === "look" && event.detail.state === "done") location.reload();
});
