// @ts-check
/**
 * The worker that thinks without the service. It is told once where the program, its script and the model lie, says
 * when it is ready, and answers one question after the other: {n, question} with {n, reply}, both in JSON as the
 * program has them.
 */
const here = /** @type {any} */ (self);

/** @param {string} url */
async function fetched(url) {
  const answer = await fetch(url);
  if (!answer.ok) throw new Error("no " + url);
  return answer;
}

/** @param {Record<string, string>} parts where each lies @returns {Promise<string>} the version of the model */
async function start(parts) {
  const program = fetched(parts["lightoff.wasm"]),
    model = fetched(parts.model).then((a) => a.arrayBuffer());
  await import(parts["wasm_exec.js"]);
  const go = new here.Go();
  const { instance } = await WebAssembly.instantiateStreaming(program, go.importObject);
  go.run(instance);
  const version = here.lightoffLoad(new Uint8Array(await model));
  if (version instanceof Error) throw version;
  return version;
}

/** What makes later answers quick is done while nobody asks: a first thought, and then the reader of sentences. */
function warm() {
  const log = { openedAt: new Date(0).toISOString() },
    chores = [{ do: "think", log, jobs: [] }, { do: "prepare" }];
  const next = () => {
    const chore = chores.shift();
    if (!chore) return;
    if (Date.now() - asked > 500) here.lightoffAsk(JSON.stringify(chore));
    else chores.unshift(chore);
    setTimeout(next, 100);
  };
  setTimeout(next, 100);
}

let asked = 0;
here.onmessage = async (/** @type {any} */ e) => {
  if (e.data.parts) {
    try {
      here.postMessage({ ready: await start(e.data.parts) });
      warm();
    } catch (fault) {
      here.postMessage({ broken: String(fault) });
    }
    return;
  }
  asked = Date.now();
  here.postMessage({ n: e.data.n, reply: here.lightoffAsk(e.data.question) });
};
