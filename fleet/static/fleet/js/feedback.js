/* Says when a request did not go through, and puts the cursor where a form needs it.
   All words come from the page, in the reader's language. */
(function () {
  "use strict";

  const region = document.getElementById("messages");
  if (!region) return;

  function say(words) {
    const list = document.createElement("ul");
    const item = document.createElement("li");
    const text = document.createElement("span");
    item.className = "message error";
    text.className = "message-text";
    text.textContent = words;
    item.append(text, closer());
    list.append(item);
    region.classList.add("stick");
    region.replaceChildren(list);
  }

  function closer() {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "button quiet";
    button.dataset.dismiss = "";
    button.textContent = region.dataset.close;
    return button;
  }

  function offerClosing() {
    region.querySelectorAll("[data-dismiss][hidden]").forEach(function (button) {
      button.hidden = false;
    });
  }

  region.addEventListener("click", function (event) {
    const button = event.target.closest("[data-dismiss]");
    if (button) button.closest(".message").remove();
  });

  document.body.addEventListener("htmx:sendError", function () { say(region.dataset.unreachable); });
  document.body.addEventListener("htmx:timeout", function () { say(region.dataset.unreachable); });
  document.body.addEventListener("htmx:responseError", function (event) {
    const status = event.detail.xhr.status;
    say(status === 403 || status === 404 ? region.dataset.refused : region.dataset.failed);
  });
  document.body.addEventListener("htmx:oobAfterSwap", function (event) {
    if (event.detail.target === region) region.classList.add("stick");
  });
  document.body.addEventListener("htmx:afterSettle", function (event) {
    offerClosing();
    const bad = event.detail.elt.querySelector && event.detail.elt.querySelector("[aria-invalid='true']");
    if (bad) bad.focus();
  });

  // One open page list at a time, and Escape closes it.
  document.addEventListener("keydown", function (event) {
    const open = event.key === "Escape" && document.querySelector("details.pages[open]");
    if (open) {
      open.open = false;
      open.querySelector("summary").focus();
    }
  });

  // A form sent the plain way is sent once, however often it is tapped in bad signal.
  document.addEventListener("submit", function (event) {
    const form = event.target;
    if (event.defaultPrevented || form.method !== "post" || form.closest("[hx-post], [data-hx-post]")) return;
    if (form.dataset.sent) event.preventDefault();
    form.dataset.sent = "yes";
  });
  window.addEventListener("pageshow", function () {
    document.querySelectorAll("form[data-sent]").forEach(function (form) { delete form.dataset.sent; });
  });

  offerClosing();
})();
