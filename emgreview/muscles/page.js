// The page of the muscle reference: find by words, by keys, in light or dark. Nothing is asked of any network.

const search = /** @type {HTMLInputElement} */ (document.getElementById("search"))
const said = /** @type {HTMLElement} */ (document.getElementById("said"))
const theme = /** @type {HTMLElement} */ (document.getElementById("theme"))
const articles = [...document.querySelectorAll("article")]
const entries = /** @type {HTMLElement[]} */ ([...document.querySelectorAll("nav li")])

/** @param {string} text */
function plain(text) {
  return text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase()
}

function show() {
  const words = plain(search.value).split(/\s+/).filter(Boolean)
  for (const article of articles) {
    article.hidden = !words.every((word) => article.dataset.words?.includes(word))
  }
  for (const entry of entries) {
    entry.hidden = document.getElementById(entry.dataset.of ?? "")?.hidden ?? true
  }
  for (const section of document.querySelectorAll("nav section")) {
    const shown = section.querySelector("li:not([hidden])")
    section.toggleAttribute("hidden", !shown)
  }
  said.textContent = `${articles.filter((article) => !article.hidden).length} of ${articles.length} shown`
}

/** A link to what the search hides shows all again. */
function follow() {
  const article = document.getElementById(decodeURIComponent(location.hash.slice(1)))
  if (article?.hidden) {
    search.value = ""
    show()
  }
  article?.scrollIntoView()
  article?.focus()
}

search.addEventListener("input", show)
addEventListener("hashchange", follow)
theme.addEventListener("click", () => {
  const root = document.documentElement
  const dark = root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches
  root.dataset.theme = dark ? "light" : "dark"
})
addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return
  if (event.key === "/" && document.activeElement !== search) {
    event.preventDefault()
    search.focus()
    search.select()
  } else if (event.key === "Escape" && search.value) {
    search.value = ""
    show()
  }
})
show()
