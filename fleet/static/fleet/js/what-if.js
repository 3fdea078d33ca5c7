// A changed field asks for the answer at once; without this script the button does.
const form = document.querySelector("[data-what-if]");
const place = document.getElementById("answer");
let turn = 0;

async function ask() {
  const query = new URLSearchParams(new FormData(form));
  const mine = ++turn;
  place.setAttribute("aria-busy", "true");
  history.replaceState(null, "", `?${query}`);
  query.set("part", "answer");
  try {
    const reply = await fetch(`?${query}`, { credentials: "same-origin" });
    if (!reply.ok) throw new Error(String(reply.status));
    const text = await reply.text();
    if (mine === turn) place.innerHTML = text;
  } catch {
    if (mine === turn) form.submit();
  }
  if (mine === turn) place.removeAttribute("aria-busy");
}

if (form && place) form.addEventListener("change", ask);
