// What happens on every page. Loaded once by each, imported by nobody.

// Filters send themselves when a choice is made; the button stays for those without scripts.
for (const form of document.querySelectorAll("form.filters")) {
  form.addEventListener("change", (event) => {
    if (event.target.matches("select, input[type=checkbox]")) form.requestSubmit();
  });
}

// A form that was sent is not sent twice by an impatient second press.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.method !== "post") return;
  if (form.dataset.sent) event.preventDefault();
  form.dataset.sent = "yes";
});
addEventListener("pageshow", () => document.querySelectorAll("form[data-sent]").forEach((form) => delete form.dataset.sent));

// The current stop of the journey is in sight on a narrow screen.
const current = document.querySelector('.masthead nav a[aria-current="page"]');
function showCurrent() {
  const list = current.closest("ul");
  const [inner, outer] = [current.getBoundingClientRect(), list.getBoundingClientRect()];
  list.scrollLeft += inner.left + inner.width / 2 - outer.left - outer.width / 2;
}
if (current) {
  showCurrent();
  document.fonts.ready.then(showCurrent); // its letters are wider or narrower than those shown before them
}

if (document.querySelector("[data-job]")) import("./jobs.js").then((jobs) => jobs.followAll());
document.addEventListener("over", (event) => {
  if (event.detail.state === "done" && event.target.closest("[data-reload]")) location.reload();
});
