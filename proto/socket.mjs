// Opens a card on a server over its websocket, says what a heater does and prints what that may be, dangers first.
// At the end it sends an empty text, to show how a refusal is read, and deletes the card. It needs no package.
// ../webui/FRAMES.md lists the frames.
//
//     node --experimental-websocket socket.mjs ws://127.0.0.1:7480/socket
//
// Node 20 has its WebSocket behind that option, Node 22 without it. In a browser, paste it into the console of a tab
// that shows the server's page.
// @ts-check
(async () => {
  const node = /** @type {any} */ (globalThis).process;
  const address = node
    ? node.argv[2] || "ws://127.0.0.1:7480/socket"
    : new URL("/socket", location.href.replace(/^http/, "ws")).href;
  const socket = new WebSocket(address);
  await new Promise((opened, failed) => {
    socket.onopen = opened;
    socket.onerror = failed;
  });

  // Each frame has a number, by which its answer is known.
  let last = 0;
  /** @type {Map<number, (answer: any) => void>} */
  const waiting = new Map();
  socket.onmessage = (message) => {
    const answer = JSON.parse(message.data);
    waiting.get(answer.re)?.(answer); // without a number: what is watched
    waiting.delete(answer.re);
  };
  socket.onclose = () => waiting.forEach((done) => done({ error: { reason: "STOPPING" } }));

  const pause = (/** @type {number} */ seconds) => new Promise((done) => setTimeout(done, seconds * 1000));

  /** @param {string} call @param {object} request @returns {Promise<any>} */
  async function ask(call, request) {
    for (;;) {
      const re = ++last;
      const { reply, error } = await new Promise((done) => {
        waiting.set(re, done);
        socket.send(JSON.stringify({ re, do: call, request }));
      });
      if (!error) return reply;
      if (!error.retryAfter) throw new Error(error.reason); // one of error.proto's; the message is for people
      await pause(error.retryAfter * (1 + Math.random() / 2));
    }
  }

  // A key of its own for each change, sent again with it after a lost answer, changes nothing twice.
  const key = () => crypto.randomUUID();
  const opened = await ask("open", { locale: "en", clientKey: key() });
  let { conversation } = await ask("answer", {
    id: opened.conversation.id,
    clientKey: key(),
    locale: "en",
    observations: [
      { id: "fault_code", state: "E-08" },
      { id: "line_type", state: "soft" },
      { id: "bubbles", state: "many" },
    ],
  });

  // Dangers come first, and at once. All else may take a moment while the server is busy.
  for (const danger of conversation.assessment.dangers || []) console.log("DANGER", danger.title);
  while (conversation.assessment.pending) {
    await pause(1);
    ({ conversation } = await ask("get", { id: conversation.id, locale: "en" }));
  }
  for (const cause of conversation.assessment.causes.slice(0, 3)) console.log(cause.id, cause.probability.toFixed(2));
  try {
    await ask("say", { id: conversation.id, clientKey: key(), text: "" });
  } catch (refused) {
    console.log("refused:", /** @type {Error} */ (refused).message);
  }
  await ask("delete", { id: conversation.id });
  socket.close();
})();
