/* Hands the list to the phone's own way of sharing, or copies it. Without either, the text stands
   in its box, to be marked and copied by hand. */
(function () {
  "use strict";

  const canCopy = navigator.clipboard && navigator.clipboard.writeText;
  if (!navigator.share && !canCopy) return;

  function offer() {
    document.querySelectorAll("[data-share][hidden]").forEach(function (button) { button.hidden = false; });
  }

  document.addEventListener("click", function (event) {
    const button = event.target.closest("[data-share]");
    if (!button) return;
    const box = button.parentElement.querySelector("[data-share-text]");
    if (navigator.share) {
      // Closing the phone's sheet without choosing is no error.
      navigator.share({ title: box.dataset.shareTitle, text: box.value }).catch(function () {});
    } else {
      navigator.clipboard.writeText(box.value).then(function () { button.textContent = button.dataset.done; });
    }
  });
  document.body.addEventListener("htmx:afterSettle", offer);
  offer();
})();
