// Photos: made small here, without what the camera wrote into the file, then into the queue.
(() => {
  "use strict";
  const store = self.rootroundStore, main = document.querySelector("[data-stop]");
  if (!main || !store.can || !("serviceWorker" in navigator)) return;
  const longest = Number(main.dataset.photoPx) || 1600, keepsPlace = main.dataset.photoPlace === "1", QUALITY = 0.82;

  // The part of a JPEG file in which a camera writes its notes; only where the company keeps the place.
  const notes = (view) => {
    if (view.byteLength < 4 || view.getUint16(0) !== 0xffd8) return null;
    for (let at = 2; at + 4 < view.byteLength;) {
      const mark = view.getUint16(at), size = view.getUint16(at + 2);
      if (mark === 0xffe1) return new Uint8Array(view.buffer, at, size + 2);
      if ((mark & 0xff00) !== 0xff00 || mark === 0xffda) return null;
      at += 2 + size;
    }
    return null;
  };
  const small = async (file) => {
    const image = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.min(1, longest / Math.max(image.width, image.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(image.width * scale);
    canvas.height = Math.round(image.height * scale);
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    image.close();
    const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
    const bytes = new Uint8Array(await blob.arrayBuffer());
    const own = keepsPlace ? notes(new DataView(await file.arrayBuffer())) : null;
    const whole = own ? new Uint8Array([...bytes.subarray(0, 2), ...own, ...bytes.subarray(2)]) : bytes;
    return { bytes: whole, look: canvas };
  };
  const hash = async (bytes) => [...new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))].map((one) => one.toString(16).padStart(2, "0")).join("");

  const add = async (input) => {
    const box = input.closest("[data-photos]"), list = box.querySelector("[data-photo-list]");
    const caption = box.dataset.caption || box.querySelector("[name=caption]")?.value || "";
    for (const file of [...input.files]) {
      let made;
      try { made = await small(file); } catch {
        self.rootroundTell.tell("act", `${file.name} is no picture that this phone can read. Nothing was added.`);
        continue;
      }
      const sha256 = await hash(made.bytes), step = box.dataset.step || "";
      try {
        await store.put({
          kind: "photo", stop: Number(main.dataset.stop), label: `${main.dataset.site} photo${caption ? `, ${caption}` : ""}`, file: made.bytes,
          body: { ticket: main.dataset.ticket, finding_key: self.rootroundFindingKey(), step, caption, sha256, type: "image/jpeg" },
        });
      } catch (error) { self.rootroundTell.full(error); break; }
      const item = document.createElement("li"), look = document.createElement("canvas"), scale = 96 / Math.max(made.look.width, made.look.height);
      look.width = Math.round(made.look.width * scale);
      look.height = Math.round(made.look.height * scale);
      look.getContext("2d").drawImage(made.look, 0, 0, look.width, look.height);
      look.setAttribute("role", "img");
      look.setAttribute("aria-label", caption || "photo just taken");
      const words = document.createElement("span");
      words.textContent = `${caption || "photo"}, ${Math.round(made.bytes.length / 1024)} kB`;
      item.append(look, words);
      list.append(item);
    }
    input.value = "";
    self.rootroundBar.send(true);
  };
  for (const input of document.querySelectorAll("[data-photos] input[type=file]")) input.addEventListener("change", () => add(input));
  document.addEventListener("rootround:recorded", () => { for (const list of document.querySelectorAll("[data-photo-list]")) list.replaceChildren(); });
})();
