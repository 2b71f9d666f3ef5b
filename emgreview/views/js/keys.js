// Keys: they act while the widget has the focus, and never reach the page around it.

const FIELDS = new Set(["INPUT", "TEXTAREA", "SELECT"])

/** Mark every shadow host up to the page, so that a notebook's own shortcuts leave the keys alone. */
function shield(root) {
  let node = root
  while (node) {
    const host = node.getRootNode().host
    if (!host) break
    host.setAttribute("data-lm-suppress-shortcuts", "true")
    node = host
  }
  root.setAttribute("data-lm-suppress-shortcuts", "true")
}

/**
 * Call `act(key, event)` with the entry of the key table that was pressed; `typing()` says whether a form has the keys.
 * Tab and every chord with Ctrl, Alt or Meta pass to the browser untouched.
 */
function listen_to_keys(root, table, act) {
  root.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.code === "Tab") return
    event.stopPropagation()
    const target = event.composedPath()[0]
    if (FIELDS.has(target.tagName)) return
    if (target.tagName === "BUTTON" && (event.code === "Enter" || event.code === "Space")) return
    event.preventDefault()
    if (event.isComposing || /^(Shift|CapsLock)/.test(event.code)) return
    const code = event.code.replace(/^Numpad(?=\d|Enter)/, "").replace(/^\d$/, "Digit$&")
    const key = table.find((entry) => entry.code === code && entry.shift === event.shiftKey)
    if (event.repeat && !key?.repeat) return
    act(key ?? {code, command: ""}, {code, shift: event.shiftKey})
  })
  for (const kind of ["keyup", "keypress"]) {
    root.addEventListener(kind, (event) => {
      if (!(event.ctrlKey || event.altKey || event.metaKey)) event.stopPropagation()
    })
  }
}

/** Write on every key label what this keyboard prints there, where the browser tells; of those whose code begins so. */
async function relabel_keys(root, begins = "") {
  const layout = await navigator.keyboard?.getLayoutMap?.().catch(() => null)
  if (!layout) return
  for (const label of root.querySelectorAll(begins ? `kbd[data-code^="${begins}"]` : "kbd[data-code]")) {
    const printed = layout.get(label.dataset.code)
    if (printed) label.textContent = (label.dataset.shift ? "⇧ " : "") + printed.toUpperCase()
  }
}

/** What is printed on a key, for buttons and the key card, as on a US keyboard. */
function key_name(key) {
  const names = {ArrowRight: "→", ArrowLeft: "←", ArrowUp: "↑", ArrowDown: "↓", Semicolon: ";", Slash: "/", Comma: ",",
    Period: ".", Minus: "-", Equal: "=", Enter: "Enter", Escape: "Esc",
    Backquote: "`", BracketLeft: "[", BracketRight: "]", Quote: "'", Backslash: "\\", PageDown: "Page ↓", PageUp: "Page ↑"}
  if (key.shift && key.code === "Slash") return "?"
  const plain = names[key.code] ?? key.code.replace(/^(Key|Digit)/, "")
  return (key.shift ? "⇧ " : "") + plain
}
