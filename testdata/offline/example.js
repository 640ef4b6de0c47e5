// The whole of it: start the program, give it the model, and ask. Each question carries all that was said so far, for
// the program keeps nothing.
const show = (id, text) => {
  document.getElementById(id).textContent = text;
};

const go = new Go();
const { instance } = await WebAssembly.instantiateStreaming(fetch("lightoff.wasm"), go.importObject);
go.run(instance);
const model = await (await fetch("model")).arrayBuffer();
const version = lightoffLoad(new Uint8Array(model));
if (version instanceof Error) throw version;

const log = { openedAt: new Date().toISOString() },
  jobs = [];

function ask() {
  const reply = JSON.parse(lightoffAsk(JSON.stringify({ do: "think", locale: "en", log, jobs })));
  if (reply.error) return show("next", reply.error.message);
  const { assessment, next } = reply.conversation;
  // What must be done at once comes before every cause.
  show("dangers", (assessment.dangers || []).map((d) => d.title + ": " + d.text).join(" "));
  document.getElementById("causes").replaceChildren(
    ...assessment.causes.slice(0, 3).map((c) => {
      const line = document.createElement("li");
      line.textContent = `${c.title}, ${Math.round(100 * c.probability)} %`;
      return line;
    }),
  );
  show("next", next && next.length ? next[0].question : "");
}

const said = document.getElementById("said");
said.onchange = () => {
  const key = String(jobs.length);
  jobs.push({
    key,
    do: "say",
    at: new Date().toISOString(),
    request: { id: "here", clientKey: key, text: said.value },
  });
  said.value = "";
  ask();
};
said.disabled = false;
ask();
document.documentElement.dataset.model = version;
