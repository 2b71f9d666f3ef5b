// @ts-check
// Where a page shows a widget: heights that fit, and bringing a box or a band to where it is seen.

const AROUND_PX = 130 // of the window's height that a notebook keeps for itself: menu, tabs, tools, status

const LEAST_SHARE = 0.45 // of the window's height, for the picture in any case

/** Height of a picture that leaves the rest of its widget in the window: `wanted` if there is room, never under `least`.
 * @param {HTMLElement} root @param {number} wanted @param {number} least */
export function fitting_height(root, wanted, least) {
  const parts = /** @type {HTMLElement[]} */ ([...root.children])
  const beside = parts.filter((part) => !part.matches(".body, .foot, .live, .card"))
  const room = window.innerHeight - AROUND_PX - beside.reduce((sum, part) => sum + part.offsetHeight, 0)
  return Math.ceil(Math.max(least, Math.min(wanted, Math.max(LEAST_SHARE * window.innerHeight, room))))
}

/** What scrolls an element: the nearest box around it with more inside than it shows, or the page.
 * @param {Element} element
 * @returns {Element} */
export function scrolled_by(element) {
  /** @type {Element | null} */
  let node = element
  while (node) {
    if (/auto|scroll/.test(getComputedStyle(node).overflowY) && node.scrollHeight > node.clientHeight + 1) return node
    const within = node.getRootNode()
    node = node.parentElement ?? (within instanceof ShadowRoot ? within.host : null)
  }
  return document.scrollingElement ?? document.documentElement
}

/** From where to where a scrolled box is seen, in px of the window.
 * @param {Element} scroller
 * @returns {[number, number]} */
export function shown_by(scroller) {
  if (scroller === document.scrollingElement) return [0, window.innerHeight]
  const {top, bottom} = scroller.getBoundingClientRect()
  return [top, bottom]
}

/** Bring a box that lies over the picture to where the page shows it. Returns what scrolls back, if nothing else scrolled.
 * @param {HTMLElement} box */
export function bring_up(box) {
  const scroller = scrolled_by(/** @type {HTMLElement} */ (box.parentElement))
  const before = scroller.scrollTop
  box.style.top = ""
  const [edge] = shown_by(scroller)
  if (getComputedStyle(box).position === "absolute" && box.getBoundingClientRect().top < edge) {
    const frame = /** @type {HTMLElement} */ (box.offsetParent)
    const lowest = frame.clientHeight - box.offsetHeight - 4 // it never hangs out of the widget
    box.style.top = `${Math.max(4, Math.min(edge + 4 - frame.getBoundingClientRect().top, lowest))}px`
  }
  box.scrollIntoView({block: "nearest"})
  const after = scroller.scrollTop
  return () => {
    if (scroller.scrollTop === after) scroller.scrollTop = before
  }
}

/** @type {Record<string, number>} */
export const STEPS = {ArrowDown: 1, ArrowUp: -1, PageDown: 8, PageUp: -8} // through a list, by key

/** @type {Record<string, number>} */
const SCROLLS_PX = {ArrowDown: 40, ArrowUp: -40, PageDown: 300, PageUp: -300}

/** Scroll a box by a key, in px; false where the key scrolls nothing.
 * @param {HTMLElement} box @param {string} code */
export function scroll_by(box, code) {
  const step = SCROLLS_PX[code]
  if (step) box.scrollBy(0, step)
  return Boolean(step)
}
