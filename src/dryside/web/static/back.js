// Taking in a delivery, and deciding doubts by key or tap.
import { ask, make } from "./dryside.js";
import { follow, followAll } from "./jobs.js";
import { dropField, forget, unfinished, uploadAll } from "./upload.js";

const form = document.getElementById("take-in-form");
if (form) {
  const said = document.getElementById("take-in-said");
  const fields = Object.fromEntries([...form.querySelectorAll(".drop")].map((one) => [one.dataset.kind, dropField(one)]));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!fields.delivery.files.length) return void (said.textContent = "Choose what the lab sent first.");
    const button = document.getElementById("take-in-button");
    button.disabled = true;
    said.className = "";
    said.textContent = "Sending …";
    try {
      const sent = await uploadAll(fields, said);
      const job = await ask("/back", { method: "POST", json: { uploads: sent.delivery, phone: sent.phone, order: form.order.value || null } });
      for (const field of Object.values(fields)) field.files.forEach((file) => forget(file, field.kind));
      Object.values(fields).forEach((field) => field.clear());
      said.textContent = "It is here. Frames are being found.";
      const bar = make("div", { class: "job", "data-job": job.id, "data-state": job.state },
        make("p", { class: "job-words" }, make("strong", {}, "Taking in "), make("span", { class: "job-message", role: "status" }, "waiting")),
        make("progress", { "aria-label": "How far it is", max: 1, value: 0 }),
        make("div", { class: "row" }, make("form", { onsubmit: async (stop) => { stop.preventDefault(); await ask(`/jobs/${job.id}/cancel`, { method: "POST" }); } }, make("button", { class: "plain" }, "Cancel"))));
      document.getElementById("jobs").prepend(bar);
      follow(bar);
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

// --- doubts ---------------------------------------------------------------------------------------------------

for (const doubt of document.querySelectorAll(".doubt")) {
  const choices = doubt.querySelector("form.choices");
  choices?.addEventListener("submit", (event) => {
    if (!event.submitter?.value) return;
    event.preventDefault();
    decide(doubt, choices, event.submitter.value);
  });
  choices?.querySelector("[data-other]")?.addEventListener("change", (event) => event.target.value && decide(doubt, choices, event.target.value));
  doubt.addEventListener("keydown", (event) => {
    if (event.target.matches("input, select") || event.ctrlKey || event.metaKey || event.altKey) return;
    const button = choices?.querySelector(`[data-key="${CSS.escape(event.key)}"]`);
    if (button) {
      event.preventDefault();
      decide(doubt, choices, button.value);
    }
  });
}

async function decide(doubt, choices, frame) {
  const sent = new FormData(choices);
  sent.set("frame", frame);
  try {
    const said = await ask(choices.action, { method: "POST", form: sent });
    const next = [...document.querySelectorAll(".doubt")].find((one) => one !== doubt && !one.dataset.decided);
    doubt.dataset.decided = "yes";
    choices.replaceChildren(make("p", { role: "status" }, `${said.says}. `, make("button", { type: "button", class: "plain", onclick: async () => {
      await ask(`/undo/${said.undo}`, { method: "POST" });
      location.reload();
    } }, "Undo")));
    doubt.querySelector("h3").textContent = said.label === "none" ? "No frame" : `Frame ${said.label}`;
    (next ?? doubt).focus();
  } catch (problem) {
    choices.append(make("p", { class: "refusal", role: "alert" }, problem.message));
  }
}
