// @ts-check
// Colours and letter sizes of every canvas: two themes, each with more contrast for those who ask for it.

/** @typedef {typeof LIGHT} Palette */

const LIGHT = {
  ground: "#ffffff",
  ink: "#1d1d1f",
  faint: "#6b6b70",
  grid: "#dcdce0",
  band: "#f4f6fa",
  raw: "#2b2b30",
  rectified: "#b4b4bb",
  envelope: "#0b5394",
  auxiliary: "#5a5a60",
  rest: "#00000010",
  interval: "#c8500033",
  onset: "#b34700",
  offset: "#5b3a8e",
  automatic: "#7a7a80",
  plate: "#ffffffd8",
  usual: "#0b539422",
  usual_line: "#0b539466",
  accent: "#0b5394",
  away: "#00000012",
  here: "#0b539414",
}

/** @type {Palette} */
const DARK = {
  ground: "#16181c",
  ink: "#f0f0f2",
  faint: "#a3a7ae",
  grid: "#3a3d44",
  band: "#1e222a",
  raw: "#e4e4e8",
  rectified: "#6d7077",
  envelope: "#7db8f0",
  auxiliary: "#b4b7bd",
  rest: "#ffffff14",
  interval: "#ff9a4a40",
  onset: "#ffa25e",
  offset: "#c9a6ff",
  automatic: "#9da1a8",
  plate: "#16181ce0",
  usual: "#7db8f02a",
  usual_line: "#7db8f077",
  accent: "#7db8f0",
  away: "#ffffff1c",
  here: "#7db8f01c",
}

/** @type {Record<string, Palette>} */
export const PALETTES = {
  light: LIGHT,
  dark: DARK,
  light_contrast: {
    ...LIGHT,
    ink: "#000000",
    faint: "#000000",
    grid: "#767676",
    raw: "#000000",
    rectified: "#767676",
    envelope: "#003a70",
    auxiliary: "#000000",
    rest: "#00000030",
    interval: "#c8500066",
    onset: "#7a2400",
    offset: "#3a1a70",
    automatic: "#303030",
    plate: "#ffffff",
    usual: "#0b539444",
    usual_line: "#003a70",
    accent: "#003a70",
    away: "#00000024",
    here: "#003a701c",
  },
  dark_contrast: {
    ...DARK,
    ground: "#000000",
    ink: "#ffffff",
    faint: "#ffffff",
    grid: "#9a9a9a",
    raw: "#ffffff",
    rectified: "#9a9a9a",
    envelope: "#a8d4ff",
    auxiliary: "#ffffff",
    rest: "#ffffff38",
    interval: "#ff9a4a70",
    onset: "#ffc08f",
    offset: "#dcc8ff",
    automatic: "#d0d0d0",
    plate: "#000000",
    usual: "#7db8f055",
    usual_line: "#a8d4ff",
    accent: "#a8d4ff",
    away: "#ffffff30",
    here: "#a8d4ff26",
  },
}

export const MORE_CONTRAST = matchMedia("(prefers-contrast: more)")

/** The name of a theme's palette, with more contrast for those who ask their system for it.
 * @param {boolean} dark */
export const palette_name = (dark) => (dark ? "dark" : "light") + (MORE_CONTRAST.matches ? "_contrast" : "")

/** Letters on a canvas follow the text size of the page: 11 px at the usual 16 px. */
export const canvas_font_px = () => 0.6875 * parseFloat(getComputedStyle(document.documentElement).fontSize)
