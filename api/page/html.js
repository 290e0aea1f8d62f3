// Markup in plain JavaScript: every value is escaped by the library.
import { h, render } from "./vendor/preact.js";
import htm from "./vendor/htm.js";

export const html = htm.bind(h);
export { render };
