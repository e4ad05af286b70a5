// Lists that go on: the next piece is fetched as the end comes into sight; without scripts the link leads there.
const list = document.getElementById("found");

const watch = new IntersectionObserver(async (entries) => {
  for (const entry of entries) {
    if (!entry.isIntersecting) continue;
    watch.unobserve(entry.target);
    const answer = await fetch(`${entry.target.dataset.more}&part=true`);
    if (!answer.ok) continue;
    const piece = new DOMParser().parseFromString(`<ul>${await answer.text()}</ul>`, "text/html");
    entry.target.replaceWith(...piece.querySelectorAll("ul > li"));
    begin();
  }
}, { rootMargin: "900px" });

function begin() {
  const last = list?.querySelector("li.more");
  if (last) watch.observe(last);
}
begin();
