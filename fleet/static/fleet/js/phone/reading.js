// What a reading means, at once and without network: from the table that stands on the page beside it.
(() => {
  "use strict";
  const main = document.querySelector("[data-stop]");
  if (!main) return;
  const facts = JSON.parse(document.getElementById("reading-facts").textContent);
  const number = (field) => {
    const text = field?.value.trim().replace(",", ".") || "";
    return text && Number.isFinite(Number(text)) ? Number(text) : null;
  };
  const si = (field) => {
    const value = number(field);
    return value === null ? null : value * Number(field.dataset.toSi || 1);
  };
  const rowOf = (code, value, choice) => [...document.querySelectorAll(`[data-meaning="${code}"]`)].find((row) => {
    if (choice) return row.dataset.choice === choice;
    if (value === null || row.dataset.choice) return false;
    return (row.dataset.low === "" || value >= Number(row.dataset.low)) && (row.dataset.high === "" || value < Number(row.dataset.high));
  });
  const tell = (box, row) => {
    if (!box) return;
    box.hidden = !row;
    box.classList.toggle("warn", Boolean(row && !row.dataset.good));
    box.textContent = row ? `${row.cells[1].textContent} Then: ${row.cells[2].textContent}` : "";
  };
  const check = (field) => {
    const isChoice = field.tagName === "SELECT";
    tell(field.closest("li").querySelector("[data-means]"), rowOf(field.dataset.check, isChoice ? null : si(field), isChoice ? field.value : ""));
  };

  // Tension by the published fit whose numbers stand on the page; outside its range it says only which side.
  const celsius = (value) => (facts.isUs ? (value - 32) / 1.8 : value);
  const tension = (kohm, warm) => (facts.fit.a + facts.fit.b * kohm) / (1 - facts.fit.c * kohm - facts.fit.d * warm);
  const reading = (kohm, warm) => {
    const band = facts.bands.find((one) => one.high === null || kohm < one.high);
    if (!band.isGood) return band.words;
    if (warm === null) return "Working range. With the soil temperature it becomes a tension.";
    const low = Math.round(tension(facts.fit.low, warm)), high = Math.round(tension(facts.fit.high, warm));
    if (kohm < facts.fit.low) return `Wetter than ${low} kPa (${facts.fit.name}).`;
    if (kohm > facts.fit.high) return `Drier than ${high} kPa (${facts.fit.name}).`;
    return `${Math.round(tension(kohm, warm))} kPa (${facts.fit.name}).`;
  };
  self.rootroundReading = { tension, reading };

  const doubts = () => {
    const found = [], kohm = number(document.querySelector("[data-resistance]")), warmField = document.querySelector("[data-warmth]");
    const warm = number(warmField), minutes = number(document.querySelector("[data-minutes]")), kpa = number(document.querySelector("input[data-threshold]"));
    if (kohm !== null && kohm > 1000) found.push(`${kohm} kilohm is more than any sensor shows: is it in ohm? Then it is ${kohm / 1000} kilohm.`);
    if (warm !== null && (celsius(warm) < -2 || celsius(warm) > 45)) found.push(`${warm} ${facts.warmUnit} is no soil where a lawn lives.`);
    if (minutes !== null && minutes > 480) found.push(`${minutes} minutes is more than a day’s work.`);
    if (kpa !== null && (kpa < 5 || kpa > 200)) found.push(`${kpa} kPa is no usual threshold.`);
    for (const name of ["resistance_kohm", "soil_temperature_c", "threshold_kpa", "service_min"]) {
      const field = document.querySelector(`input[name=${name}]`);
      if (field && field.value.trim() && number(field) === null) found.push(`“${field.value.trim().slice(0, 20)}” is not a number.`);
    }
    return found;
  };
  const show = (box, words) => {
    if (!box) return;
    if (box.textContent !== words) delete box.dataset.sure;
    box.hidden = !words;
    box.textContent = words;
  };
  const all = () => {
    const kohm = number(document.querySelector("[data-resistance]")), typed = number(document.querySelector("[data-warmth]"));
    show(document.querySelector("[data-reading]"), kohm === null ? "" : reading(kohm, typed === null ? null : celsius(typed)));
    show(document.querySelector("[data-implausible-numbers]"), doubts().join(" "));
    const keyed = document.querySelector("[data-keyed]"), open = [...document.querySelectorAll("[data-line][data-change]")].filter((one) => !one.checked).length;
    show(document.querySelector("[data-keyed-said]"), keyed?.checked && open ? `${open} changed line${open === 1 ? " is" : "s are"} not ticked above.` : "");
  };
  // The reading of a check is the reading of the finding: it is typed once.
  const same = (from) => {
    const other = from.dataset.check === "resistance_kohm" ? document.querySelector("[data-resistance]") : from.dataset.check === "turf" ? document.getElementById("f-turf") : null;
    if (other && !other.value && from.value) other.value = from.value;
    else if (other && other.dataset.copied === "1") other.value = from.value;
    if (other) other.dataset.copied = "1";
  };
  const cable = (box) => {
    const said = box.querySelector("[data-cable-said]"), length = si(box.querySelector("[data-cable-length]"));
    const reads = number(box.closest("li").querySelector("[data-check]")), section = Number(box.querySelector("[data-cable-section]").value);
    if (length === null || reads === null) { said.textContent = "Needs the reading above and the length."; return; }
    const own = 2 * length * facts.copper / section, left = reads - own;
    const row = rowOf("solenoid_ohm", left, "");
    said.textContent = left < 0 ? `The cable alone has ${own.toFixed(1)} ohm, more than was read.` : `Cable ${own.toFixed(1)} ohm, valve ${left.toFixed(1)} ohm. ${row ? row.cells[1].textContent : ""}`;
  };
  const heard = (event) => {
    const field = event.target;
    if (field.dataset?.check) { check(field); if (event.type !== "rootround:restored") same(field); }
    const box = field.closest?.("[data-cable]") || field.closest?.("li")?.querySelector("[data-cable]");
    if (box) cable(box);
    all();
  };
  for (const name of ["input", "change", "rootround:restored"]) document.addEventListener(name, heard);

  // Where I stand: shown while the page is open, written nowhere.
  const map = document.querySelector(".lotmap[data-place]"), button = document.querySelector("[data-where]"), said = document.querySelector("[data-where-said]");
  if (!map || !button || !navigator.geolocation) return;
  const [lon0, lat0, pxA, x0, y0, mLon, mLat] = map.dataset.place.split(" ").map(Number);
  let watching = null, mark = null;
  const draw = (found) => {
    const { longitude, latitude, accuracy } = found.coords;
    const x = x0 + (longitude - lon0) * mLon * pxA, y = y0 - (latitude - lat0) * mLat * pxA;
    mark ||= map.appendChild(document.createElementNS("http://www.w3.org/2000/svg", "g"));
    mark.setAttribute("class", "me");
    mark.replaceChildren(...[["near", Math.min(accuracy * pxA, 2000)], ["dot", 6]].map(([name, r]) => {
      const ring = document.createElementNS("http://www.w3.org/2000/svg", "circle");
      for (const [key, value] of Object.entries({ class: name, cx: x.toFixed(1), cy: y.toFixed(1), r: r.toFixed(1) })) ring.setAttribute(key, value);
      return ring;
    }));
    said.hidden = false;
    const view = map.viewBox.baseVal, isOn = x >= 0 && y >= 0 && x <= view.width && y <= view.height;
    said.textContent = `${isOn ? "You stand at the dot" : "You stand outside this map"}, to about ${facts.isUs ? `${Math.round(accuracy * 3.28084)} ft` : `${Math.round(accuracy)} m`}. Not stored.`;
  };
  button.hidden = false;
  button.addEventListener("click", () => {
    if (watching !== null) {
      navigator.geolocation.clearWatch(watching);
      watching = null;
      mark?.remove();
      mark = null;
      said.hidden = true;
      button.textContent = "Show where I stand";
      return;
    }
    button.textContent = "Stop showing where I stand";
    watching = navigator.geolocation.watchPosition(draw, () => {
      said.hidden = false;
      said.textContent = "The phone does not know where it is, or may not tell.";
    }, { enableHighAccuracy: true, maximumAge: 5000, timeout: 20000 });
  });
})();
