// Progress of long work as it goes on; a lost line is taken up again by the browser itself.

export function follow(element) {
  if (element.dataset.followed || !["waiting", "running"].includes(element.dataset.state)) return;
  element.dataset.followed = "yes";
  const source = new EventSource(`/jobs/${element.dataset.job}/events`);
  source.onmessage = (event) => {
    const job = JSON.parse(event.data);
    element.dataset.state = job.state;
    const bar = element.querySelector("progress");
    if (bar && job.total) {
      bar.max = job.total;
      bar.value = job.done;
    } else if (bar && job.state === "running") bar.removeAttribute("value");
    const words = job.total && job.state === "running" ? `${job.message} (${job.done} of ${job.total})` : job.message || job.state;
    element.querySelector(".job-message").textContent = words;
    if (["done", "failed", "cancelled"].includes(job.state)) {
      source.close();
      bar?.classList.add("spent"); // its room stays, so that nothing on the page moves
      element.querySelector("form")?.remove();
      element.dispatchEvent(new CustomEvent("over", { bubbles: true, detail: job }));
      if (job.state === "done" && job.result?.to) {
        const link = document.createElement("a");
        link.className = "button first";
        link.href = job.result.to;
        link.textContent = "See it";
        (element.querySelector(".row") ?? element).append(link);
      }
    }
  };
}

export const followAll = (root = document) => root.querySelectorAll("[data-job]").forEach(follow);
