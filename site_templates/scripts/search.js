/* Search finds an id by its whole: RH-101, and not every page with an RH or a 101 in it.
 *
 * The index keeps a word with a hyphen whole (site.yml, `separator`), but the theme's search takes a hyphen in what is
 * typed for the end of a word, and then finds nothing. So each such word is handed on with its hyphens escaped, twice
 * over because the theme reads the query twice; once with more weight and as it is, once as the beginning of a word.
 */
(() => {
  "use strict";

  const QUERY = 2; // the theme's number for a message to its worker that holds what was typed
  const WITH_HYPHEN = /^[\p{L}\p{N}][^\s"*^~:+\\]*$/u;

  function whole(word) {
    if (!word.includes("-") || !WITH_HYPHEN.test(word)) return word;
    const escaped = word.replaceAll("-", "\\\\\\-");
    return `${escaped}^10 ${escaped}`;
  }

  const post = Worker.prototype.postMessage;
  Worker.prototype.postMessage = function (message, ...rest) {
    if (message?.type === QUERY && typeof message.data === "string") {
      message = { ...message, data: message.data.split(/\s+/).map(whole).join(" ") };
    }
    return post.call(this, message, ...rest);
  };
})();
