// The person's menu shuts when something else is touched, and on Escape. Without this it is a plain <details>.
const menus = document.querySelectorAll("[data-menu]");

document.addEventListener("pointerdown", (event) => {
  for (const menu of menus) if (menu.open && !menu.contains(event.target)) menu.open = false;
});

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const menu of menus) {
    if (!menu.open) continue;
    menu.open = false;
    menu.querySelector("summary").focus();
  }
});
