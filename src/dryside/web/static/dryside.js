// What scripts share: the request token, asking the server, and words for what went wrong. Importing it does nothing.

export const token = () => document.querySelector('meta[name="dryside-token"]').content;

/** Ask the server; a refusal becomes an Error in words. */
export async function ask(path, { method = "GET", json, form, body, headers = {}, signal } = {}) {
  const sent = { method, headers: { accept: "application/json", ...headers }, signal };
  if (method !== "GET") sent.headers["x-dryside-token"] = token();
  if (json !== undefined) {
    sent.headers["content-type"] = "application/json";
    sent.body = JSON.stringify(json);
  } else if (form) sent.body = form;
  else if (body !== undefined) sent.body = body;
  const answer = await fetch(path, sent);
  const kind = answer.headers.get("content-type") || "";
  const said = kind.includes("json") ? await answer.json() : null;
  if (!answer.ok) {
    const refused = said && said.refused;
    const words = refused ? `${refused.thing}: ${refused.found}. ${refused.remedy || ""}`.trim() : `The server answered ${answer.status}.`;
    throw Object.assign(new Error(words), { status: answer.status });
  }
  return said;
}

/** An element from a template of its parts, nothing of it read as HTML. */
export function make(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key === "class") made.className = value;
    else if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}
