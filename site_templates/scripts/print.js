/* A printed page shows what is folded on the screen: budgets are opened before printing and folded again after. */
(() => {
  "use strict";

  let opened = [];

  addEventListener("beforeprint", () => {
    opened = [...document.querySelectorAll("details:not([open])")];
    for (const part of opened) part.open = true;
  });

  addEventListener("afterprint", () => {
    for (const part of opened) part.open = false;
    opened = [];
  });
})();
