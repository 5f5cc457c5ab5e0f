// A page that says how far a piece of work is asks again every second and a half, and goes on when it is over.
// Without this the page carries a link that loads it again.
const EVERY_MS = 1500;
const MOST_FAILURES = 20;

function watch(box) {
  let failures = 0;
  const ask = async () => {
    try {
      const answer = await fetch(box.dataset.progress, { credentials: "same-origin" });
      if (!answer.ok) throw new Error(String(answer.status));
      failures = 0;
      const next = answer.headers.get("Location-When-Done");
      if (next) {
        location.assign(next);
        return;
      }
      const text = await answer.text();
      if (text.trim() !== box.dataset.shown) {
        box.innerHTML = text;
        box.dataset.shown = text.trim();
      }
    } catch {
      failures += 1;
    }
    if (failures < MOST_FAILURES) setTimeout(ask, EVERY_MS * (1 + failures));
  };
  setTimeout(ask, EVERY_MS);
}

document.querySelectorAll("[data-progress]").forEach(watch);
