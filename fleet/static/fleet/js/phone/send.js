// Sends what waits: in the order in which it was written, each with its key, so that twice does no harm. One sender at
// a time, whichever page or worker it is in. What is refused or asked stays on the phone until its owner has chosen.
((root) => {
  "use strict";
  const store = root.rootroundStore;
  const FIRST_MS = 5000, LONGEST_MS = 300000;
  // A line that neither answers nor breaks counts as none; a photo may take its time.
  const ASK_MS = 15000, POST_MS = 30000, PHOTO_MS = 180000;
  const urls = () => root.rootroundUrls;
  const later = (tries) => Math.min(FIRST_MS * 2 ** tries, LONGEST_MS) * (0.75 + Math.random() / 2);

  // Who the server says we are; null without network or session. The token is read here, at the moment of sending.
  const who = async () => {
    const before = Date.now();
    const answer = await fetch(urls().me, { redirect: "manual", cache: "no-store", credentials: "same-origin", signal: AbortSignal.timeout(ASK_MS) });
    if (answer.type === "opaqueredirect" || answer.status === 401 || answer.status === 403) return { state: "signed-out" };
    if (!answer.ok) throw new Error(`the server answers ${answer.status}`);
    const me = await answer.json();
    const skew = (before + Date.now()) / 2 - me.now;
    await store.setMeta("skew", skew).catch(() => {}); // a full phone must still be able to send
    await store.setOwner(me.owner, me.seals);
    return { state: "here", skew, ...me };
  };

  // Forms of their own pages: answers of a survey, audits of zones.
  const isForm = (item) => item.kind === "survey" || item.kind === "audit";

  const post = async (item, me) => {
    const { body } = await store.content(item);
    const stamps = { key: item.id, owner: item.owner, said_at: item.at, sent_at: Date.now() };
    if (isForm(item)) {
      const data = new FormData();
      data.append("client_key", item.id);
      for (const [name, value] of body.parts) data.append(name, value);
      return fetch(body.url, { method: "POST", redirect: "manual", credentials: "same-origin", headers: { "X-CSRFToken": me.csrf, Accept: "application/json" }, body: data, signal: AbortSignal.timeout(POST_MS) });
    }
    if (item.kind !== "photo") {
      return fetch(urls().send, {
        method: "POST", redirect: "manual", credentials: "same-origin", signal: AbortSignal.timeout(POST_MS),
        headers: { "X-CSRFToken": me.csrf, "Content-Type": "application/json" },
        body: JSON.stringify({ ...stamps, kind: item.kind, ticket: body.ticket, fields: body.fields, units: body.units || "", resolve: item.resolve || "" }),
      });
    }
    const form = new FormData();
    for (const [name, value] of Object.entries({ ...stamps, ...body })) form.append(name, value);
    form.append("photo", new Blob([await store.file(item)], { type: body.type || "image/jpeg" }), "photo");
    return fetch(urls().photo, { method: "POST", redirect: "manual", credentials: "same-origin", headers: { "X-CSRFToken": me.csrf }, body: form, signal: AbortSignal.timeout(PHOTO_MS) });
  };

  // Where the phone has no room to note it, the thing stays as it is: it is asked for again, which does no harm.
  const note = (item, patch, said) => store.update(item.id, patch, said).catch(() => {});
  const again = (item) => note(item, { tries: item.tries + 1, next: Date.now() + later(item.tries) });

  // What becomes of one thing: "sent", "waits", "stop" (no use to go on now).
  const one = async (item, me) => {
    let answer;
    try { answer = await post(item, me); } catch (error) {
      await again(item);
      if (error.name === "OperationError" || /sealed/.test(error.message)) return "waits";
      return "stop";
    }
    if (answer.type === "opaqueredirect") return "stop";
    let said = { words: [] };
    try { said = await answer.json(); } catch { /* not of ours */ }
    const words = said.words || [];
    if (answer.ok && (said.outcome || isForm(item))) {
      await store.finish(item, { outcome: said.outcome || "", words, at: me.now });
      return "sent";
    }
    if (answer.status === 409) { await note(item, { state: "asks", resolve: "" }, words); return "waits"; }
    if (isForm(item) && [400, 404].includes(answer.status)) {
      const why = said.problem || Object.entries(said.refused || {}).map(([name, expected]) => `${name.replaceAll("_", " ")}: expected ${expected}`).join("; ");
      await note(item, { state: "refused" }, [why || "this garden is not open to you any more"]);
      return "waits";
    }
    if (answer.status === 400 || answer.status === 413 || answer.status === 422) { await note(item, { state: "refused" }, words); return "waits"; }
    if (answer.status === 403 && said.outcome === "forbidden") { await note(item, { state: "refused" }, words); return "waits"; }
    await again(item);
    return answer.status === 403 ? "stop" : "waits";
  };

  const sendAll = async (force) => {
    let me;
    try { me = await who(); } catch { return { state: "no-network" }; }
    if (me.state !== "here") return { state: me.state };
    const seen = new Set();
    for (;;) {
      const item = (await store.items()).find((each) => each.owner === me.owner && each.state === "waits" && !seen.has(each.id) && (force || each.next <= Date.now()));
      if (!item) return { state: "here", me };
      seen.add(item.id);
      if (await one(item, me) === "stop") return { state: "no-network", me };
    }
  };

  // Another sender at work: wait for it and look again, so that what was written meanwhile goes too.
  const send = (force = false) => (navigator.locks ? navigator.locks.request("rootround-send", () => sendAll(force)) : sendAll(force));
  root.rootroundSend = { send, who };
})(self);
