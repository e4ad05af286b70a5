// A capture: frames dragged or moved by keys, and the chosen frame's positive that follows the controls.
import { ask, make } from "./dryside.js";

const view = document.getElementById("capture-view");
const NS = "http://www.w3.org/2000/svg";
const by = (id) => document.getElementById(id);

if (view) {
  const id = view.dataset.id;
  const [width, height] = [Number(view.dataset.width), Number(view.dataset.height)];
  const over = by("over");
  const positive = by("made");
  const form = by("controls");
  const settings = JSON.parse(form.dataset.settings);
  const compared = JSON.parse(by("positive").dataset.compared);
  const named = ["exposure_stops", "white", "black", "contrast"];
  let frames = [...over.querySelectorAll("polygon")].map((one) => ({ label: one.dataset.label, corners: [...one.points].map((point) => [point.x, point.y]) }));
  const asFound = structuredClone(frames);
  let chosen = Math.min(Number(by("positive").dataset.first), frames.length - 1);
  let drawn = false;

  // --- frames over the capture ----------------------------------------------------------------------------------

  const el = (name, attributes) => {
    const one = document.createElementNS(NS, name);
    for (const [key, value] of Object.entries(attributes)) one.setAttribute(key, value);
    return one;
  };

  /** A pixel of the screen in pixels of the capture: handles and numbers keep their size however it is shown. */
  const pixel = () => 1 / (over.getScreenCTM()?.a || 1);
  addEventListener("resize", () => draw());

  function draw() {
    over.querySelectorAll("polygon, .found-label, .corner").forEach((one) => one.remove());
    frames.forEach((frame, number) => {
      const polygon = el("polygon", { class: `found-frame${number === chosen ? " chosen" : ""}`, points: frame.corners.map((one) => one.join(",")).join(" "), tabindex: 0, role: "button", "aria-label": `Frame ${frame.label || number + 1}`, "aria-pressed": String(number === chosen), "data-number": number });
      polygon.addEventListener("click", () => choose(number));
      polygon.addEventListener("keydown", (event) => (event.key === "Enter" || event.key === " ") && (event.preventDefault(), choose(number)));
      const text = el("text", { class: "found-label", "font-size": 15 * pixel(), x: frame.corners[0][0] + 7 * pixel(), y: frame.corners[0][1] + 19 * pixel() });
      text.textContent = frame.label || "?";
      over.append(polygon, text);
    });
    frames[chosen]?.corners.forEach((corner, place) => over.append(handle(corner, place)));
  }

  function handle([x, y], place) {
    const names = ["upper left", "upper right", "lower right", "lower left"];
    const one = el("g", { class: "corner", transform: `translate(${x} ${y})`, tabindex: 0, role: "button", "aria-label": `Corner, ${names[place]}`, "data-place": place });
    one.append(el("circle", { class: "reach", r: 22 * pixel() }), el("circle", { class: "dot", r: 8 * pixel() }));
    one.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      one.focus();
      one.setPointerCapture(event.pointerId);
      const move = (drag) => moveCorner(place, ...place_of(drag));
      one.addEventListener("pointermove", move);
      one.addEventListener("pointerup", () => { one.removeEventListener("pointermove", move); draw(); over.querySelector(`.corner[data-place="${place}"]`)?.focus(); }, { once: true });
    });
    one.addEventListener("keydown", (event) => {
      const step = event.shiftKey ? 10 : 1;
      const by_key = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
      if (!by_key) return;
      event.preventDefault();
      const [cx, cy] = frames[chosen].corners[place];
      moveCorner(place, cx + by_key[0], cy + by_key[1]);
      draw();
      over.querySelector(`.corner[data-place="${place}"]`)?.focus();
    });
    return one;
  }

  function place_of(event) {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(over.getScreenCTM().inverse());
    return [point.x, point.y];
  }

  function moveCorner(place, x, y) {
    const corner = [Math.min(width, Math.max(0, x)), Math.min(height, Math.max(0, y))];
    frames[chosen].corners[place] = corner;
    over.querySelector(`polygon[data-number="${chosen}"]`)?.setAttribute("points", frames[chosen].corners.map((one) => one.join(",")).join(" "));
    const dot = over.querySelector(`.corner[data-place="${place}"]`);
    dot?.setAttribute("transform", `translate(${corner[0]} ${corner[1]})`);
    changed();
  }

  function changed() {
    drawn = true;
    by("keep-frames").hidden = by("forget-frames").hidden = false;
  }

  function shape({ corners: [a, b, c] }) {
    const [wide, high] = [Math.hypot(b[0] - a[0], b[1] - a[1]), Math.hypot(c[0] - b[0], c[1] - b[1])];
    return [wide, high].map((one) => Math.round((1600 * one) / Math.max(wide, high)));
  }

  function choose(number) {
    chosen = number;
    by("frame-label").value = frames[number]?.label ?? "";
    const [wide, high] = shape(frames[number]);
    [positive.width, positive.height] = [wide, high];
    positive.parentElement.style.maxWidth = wide < high ? `${(78 * wide) / high}vh` : "";
    draw();
    showControls();
    develop();
    showScan();
  }

  by("frame-label").addEventListener("input", (event) => {
    if (!frames[chosen]) return;
    frames[chosen].label = event.target.value.trim();
    changed();
    draw();
  });
  by("add-frame").addEventListener("click", () => {
    const last = frames.at(-1);
    const beside = last && frames.length > 1 ? frames.at(-2) : null;
    const shift = beside ? [last.corners[0][0] - beside.corners[0][0], last.corners[0][1] - beside.corners[0][1]] : [width * 0.1, 0];
    const from = last ? last.corners.map(([x, y]) => [x + shift[0], y + shift[1]]) : [[0.3, 0.3], [0.7, 0.3], [0.7, 0.7], [0.3, 0.7]].map(([x, y]) => [x * width, y * height]);
    frames.push({ label: "", corners: from.map(([x, y]) => [Math.min(width, Math.max(0, x)), Math.min(height, Math.max(0, y))]) });
    chosen = frames.length - 1;
    changed();
    draw();
    by("frames-said").className = "";
    by("frames-said").textContent = "Drag its corners onto the picture, give it its number, and keep the frames.";
    by("frame-label").value = "";
    by("frame-label").focus();
  });
  by("remove-frame").addEventListener("click", () => {
    if (!frames.length) return;
    frames.splice(chosen, 1);
    chosen = Math.max(0, Math.min(chosen, frames.length - 1));
    changed();
    draw();
  });
  by("forget-frames").addEventListener("click", () => {
    frames = structuredClone(asFound);
    drawn = false;
    by("keep-frames").hidden = by("forget-frames").hidden = true;
    choose(Math.min(chosen, frames.length - 1));
  });
  by("keep-frames").addEventListener("click", async () => {
    by("frames-said").className = "";
    by("frames-said").textContent = "Looking at the new frames …";
    try {
      await ask(`/negatives/captures/${id}/frames`, { method: "POST", json: { frames: frames.map(({ corners, label }) => ({ corners, label: label || null })) } });
      location.href = `${location.pathname}?frame=${chosen}`;
    } catch (problem) {
      by("frames-said").className = "refusal";
      by("frames-said").textContent = problem.message;
    }
  });

  // --- the positive ---------------------------------------------------------------------------------------------

  const nothing = () => ({ exposure_stops: 0, red_stops: 0, blue_stops: 0, contrast: 0, black: 0, white: 0 });
  const ofRoll = () => ({ ...nothing(), ...settings.roll });
  const ofFrame = () => {
    const own = settings.frames?.[chosen] ?? {};
    return Object.fromEntries(Object.entries(ofRoll()).map(([name, value]) => [name, value + (own[name] ?? 0)]));
  };
  const scope = () => form.elements.scope.value;

  function fromControls() {
    const value = (name) => Number(form.elements[name].value);
    const [warmth, green] = [value("warmth"), value("green")];
    return { ...Object.fromEntries(named.map((name) => [name, value(name)])), red_stops: warmth / 2 - green, blue_stops: -warmth / 2 - green };
  }

  function showControls(change = scope() === "roll" ? ofRoll() : ofFrame()) {
    for (const name of named) form.elements[name].value = change[name];
    form.elements.warmth.value = change.red_stops - change.blue_stops;
    form.elements.green.value = -(change.red_stops + change.blue_stops) / 2;
    for (const one of form.querySelectorAll("input[type=range]")) by(`o-${one.name}`).textContent = Number(one.value).toFixed(one.name === "black" ? 3 : 2);
  }

  let asking = false;
  let again = false;
  async function develop(change = ofFrame()) {
    if (drawn || !frames[chosen]) return;
    if (asking) return void (again = change);
    asking = true;
    const slow = setTimeout(() => { by("positive-words").textContent = "Making it …"; }, 600);
    try {
      const answer = await fetch(`/negatives/captures/${id}/frames/${chosen}/positive.jpg?${new URLSearchParams(change)}`);
      if (!answer.ok) throw new Error((await answer.json().catch(() => null))?.refused?.found ?? "no positive yet");
      const picture = URL.createObjectURL(await answer.blob());
      await new Promise((resolve) => { positive.onload = positive.onerror = resolve; positive.src = picture; });
      URL.revokeObjectURL(positive.dataset.before ?? "");
      positive.dataset.before = picture;
      positive.dataset.shown = String(Number(positive.dataset.shown ?? 0) + 1);
      by("positive-words").textContent = `Frame ${frames[chosen].label || chosen + 1}`;
    } catch (problem) {
      by("positive-words").textContent = problem.message;
    } finally {
      clearTimeout(slow);
      asking = false;
      if (again) {
        const next = again;
        again = false;
        develop(next);
      }
    }
  }

  async function keep() {
    const change = fromControls();
    const kept = await ask(`/negatives/captures/${id}/frames/${chosen}/adjust`, { method: "POST", json: { scope: scope(), adjustment: change } }).catch((problem) => ({ problem }));
    if (kept.problem) return void (by("controls-said").textContent = kept.problem.message);
    if (scope() === "roll") settings.roll = kept.kept;
    else settings.frames = { ...settings.frames, [chosen]: Object.fromEntries(Object.entries(kept.kept).map(([name, value]) => [name, value - ofRoll()[name]])) };
    by("controls-said").textContent = scope() === "roll" ? "Kept for the whole roll." : "Kept for this frame.";
  }

  const inForce = () => {
    const change = fromControls();
    if (scope() === "frame") return change;
    const own = settings.frames?.[chosen] ?? {};
    return Object.fromEntries(Object.entries(change).map(([name, value]) => [name, value + (own[name] ?? 0)]));
  };
  form.addEventListener("input", (event) => {
    if (event.target.name === "scope") return void showControls();
    by(`o-${event.target.name}`).textContent = Number(event.target.value).toFixed(event.target.name === "black" ? 3 : 2);
    develop(inForce());
  });
  form.addEventListener("change", (event) => event.target.name !== "scope" && keep());
  form.addEventListener("submit", (event) => event.preventDefault());
  by("reset").addEventListener("click", async () => {
    const before = fromControls();
    const set = async (change) => {
      showControls(change);
      develop(inForce());
      await keep();
    };
    await set(scope() === "roll" ? nothing() : ofRoll());
    by("controls-said").append(" ", make("button", { type: "button", class: "plain", onclick: () => set(before) }, "Undo"));
  });

  const grey = by("neutral");
  const taps = (on) => {
    grey.setAttribute("aria-pressed", String(on));
    positive.classList.toggle("taps", on);
    by("controls-said").textContent = on ? "Tap something in the picture that was grey or white." : "";
  };
  grey.addEventListener("click", () => taps(grey.getAttribute("aria-pressed") !== "true"));
  positive.addEventListener("click", async (event) => {
    if (grey.getAttribute("aria-pressed") !== "true") return;
    const box = positive.getBoundingClientRect();
    const [x, y] = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
    try {
      const balance = await ask(`/negatives/captures/${id}/frames/${chosen}/neutral?${new URLSearchParams({ x, y })}`);
      taps(false);
      showControls({ ...fromControls(), ...balance });
      develop(inForce());
      keep();
    } catch (problem) {
      by("controls-said").textContent = problem.message;
    }
  });

  // --- beside the lab's scan ------------------------------------------------------------------------------------

  const scan = by("lab-scan");
  function showScan() {
    const found = compared[chosen];
    by("compare-field").hidden = scan.hidden = !found;
    if (found && !scan.src.endsWith(`/scans/${found}/1600.jpg`)) scan.src = `/scans/${found}/1600.jpg`;
    slide();
  }
  const slide = () => { scan.style.clipPath = `inset(0 ${100 - Number(by("compare").value)}% 0 0)`; };
  by("compare").addEventListener("input", slide);

  if (frames.length) choose(Math.max(0, chosen));
}
