// @ts-check
// Keys: they act while the widget has the focus, and never reach the page around it.

/** @import {Action, Key, Pressed} from "../types.js" */

const FIELDS = new Set(["INPUT", "TEXTAREA", "SELECT"])

/** Mark every shadow host up to the page, so that a notebook's own shortcuts leave the keys alone.
 * @param {HTMLElement} root */
export function shield(root) {
  let node = root
  while (true) {
    const within = node.getRootNode()
    if (!(within instanceof ShadowRoot)) break
    const host = /** @type {HTMLElement} */ (within.host)
    host.setAttribute("data-lm-suppress-shortcuts", "true")
    node = host
  }
  root.setAttribute("data-lm-suppress-shortcuts", "true")
}

/**
 * Call `act(key, pressed)` with the entry of the key table that was pressed, one without a command where none is.
 * Tab and every chord with Ctrl, Alt or Meta pass to the browser untouched.
 * @param {HTMLElement} root
 * @param {Key[]} table
 * @param {(key: Action, pressed: Pressed) => void} act
 */
export function listen_to_keys(root, table, act) {
  root.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.code === "Tab") return
    event.stopPropagation()
    const target = /** @type {HTMLElement} */ (event.composedPath()[0])
    if (FIELDS.has(target.tagName)) return
    if (target.tagName === "BUTTON" && (event.code === "Enter" || event.code === "Space")) return
    event.preventDefault()
    if (event.isComposing || /^(Shift|CapsLock)/.test(event.code)) return
    const code = event.code.replace(/^Numpad(?=\d|Enter)/, "").replace(/^\d$/, "Digit$&")
    const key = table.find((entry) => entry.code === code && entry.shift === event.shiftKey)
    if (event.repeat && !key?.repeat) return
    act(key ?? {code, command: ""}, {code, shift: event.shiftKey})
  })
  for (const kind of /** @type {const} */ (["keyup", "keypress"])) {
    root.addEventListener(kind, (event) => {
      if (!(event.ctrlKey || event.altKey || event.metaKey)) event.stopPropagation()
    })
  }
}

/** Write on every key label what this keyboard prints there, where the browser tells; of those whose code begins so.
 * @param {HTMLElement} root */
export async function relabel_keys(root, begins = "") {
  const {keyboard} = /** @type {any} */ (navigator) // a part that not every browser has
  const layout = await keyboard?.getLayoutMap?.().catch(() => null)
  if (!layout) return
  const selector = begins ? `kbd[data-code^="${begins}"]` : "kbd[data-code]"
  for (const label of /** @type {NodeListOf<HTMLElement>} */ (root.querySelectorAll(selector))) {
    const printed = layout.get(label.dataset.code)
    if (printed) label.textContent = (label.dataset.shift ? "⇧ " : "") + printed.toUpperCase()
  }
}

/** What is printed on a key, for buttons and the key card, as on a US keyboard.
 * @param {{code: string, shift?: boolean}} key */
export function key_name(key) {
  /** @type {Record<string, string>} */
  const names = {
    ArrowRight: "→",
    ArrowLeft: "←",
    ArrowUp: "↑",
    ArrowDown: "↓",
    Semicolon: ";",
    Slash: "/",
    Comma: ",",
    Period: ".",
    Minus: "-",
    Equal: "=",
    Enter: "Enter",
    Escape: "Esc",
    Backquote: "`",
    BracketLeft: "[",
    BracketRight: "]",
    Quote: "'",
    Backslash: "\\",
    PageDown: "Page ↓",
    PageUp: "Page ↑",
  }
  if (key.shift && key.code === "Slash") return "?"
  const plain = names[key.code] ?? key.code.replace(/^(Key|Digit)/, "")
  return (key.shift ? "⇧ " : "") + plain
}
