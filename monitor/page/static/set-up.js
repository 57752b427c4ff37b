// Describing the rig: shows only what belongs to what is chosen, and draws while it is typed.
// Without it every field is in sight and a button draws.
for (const form of document.querySelectorAll("form[data-draws]")) {
  const parts = [...form.querySelectorAll("[data-if]")];
  const shown = () => {
    const said = new FormData(form);
    for (const part of parts) {
      const value = said.get(part.dataset.if) || "";
      part.hidden = !part.dataset.is.split(" ").some((is) => is.endsWith(":") ? value.startsWith(is) : value === is);
    }
  };
  let waits = 0, asked = 0;
  const draw = async () => {
    const turn = ++asked, said = new URLSearchParams(new FormData(form));
    said.set("do", "look");
    try {
      const answer = await fetch(form.action, { method: "POST", body: said, headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById(form.dataset.draws), old = document.getElementById(form.dataset.draws);
      if (turn === asked && fresh && old) old.replaceWith(fresh);
    } catch { /* No signal: the last drawing stays. */ }
  };
  form.addEventListener("input", () => { shown(); clearTimeout(waits); waits = setTimeout(draw, 500); });
  shown();
}
// The clock of a drill.
for (const clock of document.querySelectorAll("[data-since]")) {
  const began = Date.parse(clock.dataset.since), ahead = Date.now() - Date.parse(clock.dataset.now);
  const tick = () => {
    const s = Math.max(0, Math.round((Date.now() - ahead - began) / 1000));
    clock.textContent = `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
  };
  tick();
  setInterval(tick, 1000);
}
// A tap of a drill counts from the tap, however long the signal takes.
for (const form of document.querySelectorAll("form[data-taps]")) {
  const ahead = Date.now() - Date.parse(form.dataset.taps);
  form.addEventListener("submit", () => { form.elements.tapped.value = new Date(Date.now() - ahead).toISOString(); });
}
