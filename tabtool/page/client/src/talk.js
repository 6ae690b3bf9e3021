// Requests to the program that served this page. A refusal carries its one plain line.

export class Refusal extends Error {
  constructor(answer, status) {
    super(answer.error ?? "no answer");
    this.status = status;
    this.changed = Boolean(answer.changed);
    this.now = answer.now ?? null;
  }
}

export async function ask(name, body = {}) {
  let response;
  try {
    response = await fetch(`/api/${name}`, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(body),
    });
  } catch {
    throw new Refusal({ error: "tabtool does not answer; is it still running?" }, 0);
  }
  const answer = await response.json().catch(() => ({}));
  if (!response.ok) throw new Refusal(answer, response.status);
  return answer;
}
