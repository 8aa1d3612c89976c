/* The reader's choice of light, dark, outdoors, or what the device asks for. It is kept in a
   cookie, so that the server writes it into the page and nothing flashes while loading. */
(function () {
  "use strict";

  const YEAR = 31536000;
  const root = document.documentElement;
  const box = document.querySelector("[data-look]");
  if (!box) return;

  function show() {
    const now = root.dataset.theme || "";
    box.querySelectorAll("button").forEach(function (button) {
      button.setAttribute("aria-pressed", String(button.value === now));
    });
  }

  function choose(value) {
    if (value) root.dataset.theme = value;
    else delete root.dataset.theme;
    const secure = location.protocol === "https:" ? "; secure" : "";
    document.cookie = "look=" + (value || "device") + "; path=/; samesite=lax; max-age=" + YEAR + secure;
    show();
  }

  box.addEventListener("click", function (event) {
    const button = event.target.closest("button");
    if (button) choose(button.value);
  });
  box.hidden = false;
  show();
})();
