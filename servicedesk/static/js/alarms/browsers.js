// One's own browsers that show alarms: turns this one on and off, and says which line is this one. The forms are what is sent;
// without this the page says that turning on needs it, and turning off works.
const page = document.querySelector("[data-browsers]");
const form = document.querySelector("[data-turn-on]");

function show(state) {
  for (const part of document.querySelectorAll("[data-when]")) part.hidden = !part.dataset.when.split(" ").includes(state);
}

function octetsOf(text) {
  return Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (sign) => sign.charCodeAt(0));
}

function textOf(octets) {
  const text = btoa(String.fromCharCode(...new Uint8Array(octets)));
  return text.replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}

async function markOf(endpoint) {
  const hash = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(endpoint));
  return [...new Uint8Array(hash)].map((octet) => octet.toString(16).padStart(2, "0")).join("").slice(0, 16);
}

async function known() {
  const registration = await navigator.serviceWorker.getRegistration(page.dataset.scope);
  return registration ? registration.pushManager.getSubscription() : null;
}

async function lineOf(subscription) {
  return document.querySelector(`[data-mark="${await markOf(subscription.endpoint)}"]`);
}

function isOurs(subscription) {
  const key = subscription.options && subscription.options.applicationServerKey;
  return !key || textOf(key) === page.dataset.key;
}

async function look() {
  if (!(window.isSecureContext && "serviceWorker" in navigator && "PushManager" in window && "Notification" in window)) {
    show("cannot");
    return;
  }
  const subscription = await known();
  const line = subscription && isOurs(subscription) ? await lineOf(subscription) : null;
  if (line) {
    line.querySelector("[data-here]").hidden = false;
    show("on");
  } else {
    show(Notification.permission === "denied" ? "denied" : "off");
  }
}

async function subscribe() {
  await navigator.serviceWorker.register(page.dataset.worker, { scope: page.dataset.scope });
  const { pushManager } = await navigator.serviceWorker.ready;
  const before = await pushManager.getSubscription();
  if (before) await before.unsubscribe(); // another person's, or of another key
  return pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: octetsOf(page.dataset.key) });
}

async function turnOn(event) {
  event.preventDefault();
  const button = form.querySelector("button");
  button.disabled = true;
  try {
    if ((await Notification.requestPermission()) !== "granted") {
      show("denied");
      return;
    }
    const subscription = await subscribe();
    form.elements.endpoint.value = subscription.endpoint;
    for (const name of ["p256dh", "auth"]) form.elements[name].value = textOf(subscription.getKey(name));
    form.submit();
  } catch {
    show("failed");
  } finally {
    button.disabled = false;
  }
}

async function turnOff(event) {
  const line = event.target.closest("[data-mark]");
  event.preventDefault();
  try {
    const subscription = await known();
    if (subscription && (await lineOf(subscription)) === line) await subscription.unsubscribe();
  } finally {
    event.target.submit();
  }
}

form.addEventListener("submit", turnOn);
if ("serviceWorker" in navigator) {
  for (const off of document.querySelectorAll("[data-turn-off]")) off.addEventListener("submit", turnOff);
}
look();
