// How long ago the step before was done, counted from an absolute time, so that a screen that slept loses nothing. One short
// tone when the usual time is over; after an hour nobody waits by the clock any more. Without this the page says when the
// step before was done.

const HOUR = 3600;

const two = (number) => String(number).padStart(2, "0");

function tone() {
  try {
    const sound = new AudioContext();
    const voice = sound.createOscillator();
    voice.connect(sound.destination);
    voice.start();
    voice.stop(sound.currentTime + 0.3);
  } catch {
    // no sound on this device: the words say it
  }
}

function run(box) {
  const since = Date.parse(box.dataset.since);
  const usual = Number(box.dataset.minutes) * 60;
  const clock = box.querySelector("[data-clock]");
  let told = (Date.now() - since) / 1000 > usual; // over before the page came: no tone
  const show = () => {
    const seconds = Math.max(0, Math.floor((Date.now() - since) / 1000));
    const over = seconds >= usual;
    const time = seconds < HOUR ? `${Math.floor(seconds / 60)}:${two(seconds % 60)}` : "";
    clock.textContent = [time, over ? box.dataset.over : ""].filter(Boolean).join(", ");
    if (over && !told) tone();
    told = told || over;
  };
  show();
  setInterval(show, 1000);
}

document.querySelectorAll(".timer[data-since]").forEach(run);
