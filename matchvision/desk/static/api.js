// Talking to the desk: addresses are relative to the page, whose own address holds the token.

export class Refusal extends Error {
  constructor(answer) {
    super(answer.what || "the desk gives no answer");
    this.faults = answer.faults || [];
    this.todo = answer.do || "";
  }
}

async function read(response) {
  const kind = response.headers.get("content-type") || "";
  if (response.ok) return kind.startsWith("application/json") ? response.json() : response.blob();
  throw new Refusal(kind.startsWith("application/json") ? await response.json() : { what: await response.text() });
}

const MANNERS = { mode: "same-origin", credentials: "omit", redirect: "error" };

export const get = async (path) => read(await fetch(`api/${path}`, MANNERS));

export const post = async (path, body) =>
  read(await fetch(`api/${path}`, { ...MANNERS, method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) }));

// Sends the latest of many quick changes; what came in between is left out.
export function latest(send) {
  let waiting = null;
  let busy = false;
  return async function offer(...given) {
    waiting = given;
    if (busy) return;
    busy = true;
    try {
      while (waiting) {
        const now = waiting;
        waiting = null;
        await send(...now);
      }
    } finally {
      busy = false;
    }
  };
}
