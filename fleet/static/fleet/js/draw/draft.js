// Changes that are not saved yet stay in this tab: after a reload they are offered back; saving or refusing wipes them.
(() => {
  "use strict";
  const Draw = ((window.Rootround ||= {}).Draw ||= {});

  Draw.draft = (store, config, box) => {
    const key = `rootround-draft ${config.by} ${config.save}`;
    const { el } = Draw;
    const wipe = () => { try { sessionStorage.removeItem(key); } catch { /* nothing is kept where nothing may be */ } };
    const read = () => { try { return JSON.parse(sessionStorage.getItem(key)); } catch { return null; } };
    const keep = () => {
      const edits = store.edits();
      if (!edits.length) return wipe();
      const things = edits.filter((e) => e.do !== "remove").map((e) => [e.id, store.state.get(e.id)]);
      try { sessionStorage.setItem(key, JSON.stringify({ version: store.version, at: Date.now(), edits, things })); } catch { /* full or shut: the page itself still holds them */ }
    };
    const old = read();
    let isOpen = Boolean(old?.edits?.length && old.things);
    store.onChange(() => { if (!isOpen) keep(); }); // what is offered stays until somebody decides
    const close = () => { isOpen = false; box.hidden = true; box.replaceChildren(); keep(); };
    const take = () => {
      const mine = new Map(old.things);
      isOpen = false;
      box.hidden = true;
      box.replaceChildren();
      store.commit("taking up what was not saved", (next) => {
        const laid = store.layOver(old.edits, mine, next);
        next.clear();
        for (const [id, thing] of laid) next.set(id, thing);
      });
    };
    if (!isOpen) return;
    const count = old.edits.length, when = new Date(old.at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
    const moved = old.version === store.version ? "" : " The book has changed since; they are laid over it as it is now.";
    box.append(
      el("p", {}, el("b", { text: `${count} change${count === 1 ? "" : "s"} of ${when} ${count === 1 ? "was" : "were"} not saved.` }), ` They are kept in this tab.${moved}`),
      el("p", { class: "acts" }, el("button", { type: "button", class: "btn main", text: "Take them up", on: { click: take } }), el("button", { type: "button", class: "btn", text: "Throw them away", on: { click: close } })));
    box.hidden = false;
  };
})();
