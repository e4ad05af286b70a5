// An assignment by hand: its total and day follow as a lab is changed; papers are offered without leaving the page.
import { ask, make } from "./dryside.js";

const form = document.getElementById("assign-form");
const total = document.getElementById("hand-total");
const orders = document.getElementById("hand-orders");
const warnings = document.getElementById("hand-warnings");
const papers = document.getElementById("papers");
let asking = null;

async function price() {
  asking?.abort();
  asking = new AbortController();
  try {
    const hand = await ask("/drop-off/draft", { method: "POST", form: new FormData(form), signal: asking.signal });
    total.replaceChildren(make("strong", {}, hand.totals.join(" + ") || "Nothing"), make("span", {}, hand.ready ? `all ready ${hand.ready}` : ""));
    orders.replaceChildren(...hand.orders.map((one) => make("li", {}, make("strong", {}, one.lab), `: ${one.total}, ready ${one.ready}`)));
    warnings.replaceChildren(
      ...hand.refused.map((one) => make("li", { class: "refusal" }, `${one.roll}: ${one.why}`)),
      ...hand.warnings.map((one) => make("li", { class: one.is_refusal ? "refusal" : "quiet" }, `${one.roll || one.lab}: ${one.text}`)),
    );
  } catch (problem) {
    if (problem.name !== "AbortError") total.replaceChildren(make("span", { class: "refusal" }, problem.message));
  }
}

form?.addEventListener("change", price);
document.getElementById("print-papers")?.addEventListener("click", async (event) => {
  event.preventDefault();
  papers.textContent = "Printing …";
  try {
    const made = await ask("/drop-off/papers", { method: "POST", form: new FormData(form) });
    papers.replaceChildren(make("ul", { class: "plain-list" }, ...made.papers.map((one) => make("li", {}, make("a", { href: one.path, target: "_blank", rel: "noopener" }, one.name)))));
  } catch (problem) {
    papers.replaceChildren(make("p", { class: "refusal" }, problem.message));
  }
});
