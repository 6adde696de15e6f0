/* Some lessons ask more of the page: their scripts let methods do more, and no other page carries them. */
"use strict";

/** Let a method do more: `more` is given what the method did, as a function, then what it is called with. */
function widen(kind, name, more) {
  const plain = kind.prototype[name];
  kind.prototype[name] = function (...given) {
    return more.call(this, plain.bind(this), ...given);
  };
}
