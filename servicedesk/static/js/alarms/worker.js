// Shows an alarm that comes while no page is open, and leads to it. What comes is written by us and sealed for this browser;
// where it leads is held to this house all the same.
const LIST = "/alarms/";

function pathOf(link) {
  try {
    const found = new URL(link || LIST, self.location.origin);
    return found.origin === self.location.origin ? found.pathname : LIST;
  } catch {
    return LIST;
  }
}

function saidBy(data) {
  try {
    return (data && data.json()) || {};
  } catch {
    return {};
  }
}

async function open(link) {
  const windows = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
  const there = windows.find((page) => new URL(page.url).pathname === link);
  return there ? there.focus() : self.clients.openWindow(link);
}

self.addEventListener("push", (event) => {
  const said = saidBy(event.data);
  const shown = self.registration.showNotification(said.title || "Tankround", {
    body: said.line || "",
    tag: said.id || "alarm",
    requireInteraction: said.urgent === true,
    data: { link: pathOf(said.link) },
  });
  event.waitUntil(shown);
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(open(event.notification.data ? event.notification.data.link : LIST));
});
