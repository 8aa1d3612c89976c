/* The print button of a page made for paper; without script the browser's own menu prints it. */
(function () {
  "use strict";

  document.querySelectorAll("[data-print]").forEach(function (button) {
    button.hidden = false;
    button.addEventListener("click", function () { window.print(); });
  });
})();
