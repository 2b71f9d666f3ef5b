// Generated from the modules in js/, which say what it does and why: edit those, then run python tests/js/bundle.py.
// modules 210e8eeaebc47088b7ba113ebfc41ca3acbc7ed2558e672ef3870b13e4eeecfc
// bundle eae57717fb50c1ddfe19fa5461a06159789730b05466b825c6ec8fe5cc6195c3
// shared/keys.js
var FIELDS = /* @__PURE__ */ new Set([
  "INPUT",
  "TEXTAREA",
  "SELECT"
]);
function shield(root) {
  let node = root;
  while (true) {
    const within2 = node.getRootNode();
    if (!(within2 instanceof ShadowRoot)) break;
    const host = (
      /** @type {HTMLElement} */
      within2.host
    );
    host.setAttribute("data-lm-suppress-shortcuts", "true");
    node = host;
  }
  root.setAttribute("data-lm-suppress-shortcuts", "true");
}
function listen_to_keys(root, table, act) {
  root.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.code === "Tab") return;
    event.stopPropagation();
    const target = (
      /** @type {HTMLElement} */
      event.composedPath()[0]
    );
    if (FIELDS.has(target.tagName)) return;
    if (target.tagName === "BUTTON" && (event.code === "Enter" || event.code === "Space")) return;
    event.preventDefault();
    if (event.isComposing || /^(Shift|CapsLock)/.test(event.code)) return;
    const code = event.code.replace(/^Numpad(?=\d|Enter)/, "").replace(/^\d$/, "Digit$&");
    const key = table.find((entry) => entry.code === code && entry.shift === event.shiftKey);
    if (event.repeat && !key?.repeat) return;
    act(key ?? {
      code,
      command: ""
    }, {
      code,
      shift: event.shiftKey
    });
  });
  for (const kind of [
    "keyup",
    "keypress"
  ]) {
    root.addEventListener(kind, (event) => {
      if (!(event.ctrlKey || event.altKey || event.metaKey)) event.stopPropagation();
    });
  }
}
async function relabel_keys(root, begins = "") {
  const { keyboard } = (
    /** @type {any} */
    navigator
  );
  const layout = await keyboard?.getLayoutMap?.().catch(() => null);
  if (!layout) return;
  const selector = begins ? `kbd[data-code^="${begins}"]` : "kbd[data-code]";
  for (const label of root.querySelectorAll(selector)) {
    const printed = layout.get(label.dataset.code);
    if (printed) label.textContent = (label.dataset.shift ? "\u21E7 " : "") + printed.toUpperCase();
  }
}
function key_name(key) {
  const names = {
    ArrowRight: "\u2192",
    ArrowLeft: "\u2190",
    ArrowUp: "\u2191",
    ArrowDown: "\u2193",
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
    PageDown: "Page \u2193",
    PageUp: "Page \u2191"
  };
  if (key.shift && key.code === "Slash") return "?";
  const plain2 = names[key.code] ?? key.code.replace(/^(Key|Digit)/, "");
  return (key.shift ? "\u21E7 " : "") + plain2;
}

// shared/texts.js
var ODD = /[^\x20-\x7e\xa0-\u02ff\u2010-\u2027\u2030-\u205e\u2190-\u23ff\u2500-\u27bf]/;
var RIGHT = "\\u0590-\\u08ff\\u200f\\ufb1d-\\ufdff\\ufe70-\\ufefc\\u{10800}-\\u{10fff}\\u{1e800}-\\u{1efff}";
var RUN = `[${RIGHT}](?:[${RIGHT}\\p{M}\\u200c\\u200d ,'"\\-_./\\d]*[${RIGHT}])?\\p{M}*`;
var RUNS = new RegExp(RUN, "gu");
var ISOLATED = new RegExp(`\\u2067(${RUN})\\u2069`, "gu");
var TURNING = /[\u061c\u200e\u202a-\u202e\u2066-\u2069]/g;
var UNSEEN = /[\u00ad\u180e\u200b\u2060-\u2064\u206a-\u206f\ufeff\ufff9-\ufffb]|[\u{e0000}-\u{e007f}]/gu;
var BREAK = "\u21B5";
var HEAPED = /(\p{M}{4})\p{M}+/gu;
function shown(text, lines = false) {
  if (!ODD.test(text)) return text;
  return text.replace(ISOLATED, "$1").replace(TURNING, "\uFFFD").replace(UNSEEN, "\uFFFD").replace(/[\u2028\u2029]/g, BREAK).replace(/\p{Cc}/gu, (sign) => sign !== "\n" ? "\uFFFD" : lines ? sign : BREAK).replace(HEAPED, "$1").replace(RUNS, "\u2067$&\u2069");
}
function brief(text, most = 160) {
  if (text.length <= most) return shown(text);
  return shown(`${[
    ...text.slice(0, 2 * most)
  ].slice(0, most - 1).join("")}\u2026`);
}

// shared/elements.js
var READ = /* @__PURE__ */ new Set([
  "title",
  "aria-label",
  "placeholder"
]);
function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value !== null && value !== void 0 && value !== false) {
      element.setAttribute(name, value === true ? "" : READ.has(name) ? shown(String(value)) : value);
    }
  }
  for (const child of children) {
    if (child !== null && child !== void 0) element.append(typeof child === "string" ? shown(child) : child);
  }
  return element;
}
function kbd(key) {
  return h("kbd", {
    "data-code": key.code,
    "data-shift": key.shift ? "yes" : null
  }, key_name(key));
}
var card_key = (keys) => key_name(keys.find((key) => key.command === "key_card") ?? {
  code: ""
});
function set_text(element, words, lines = false) {
  const text = shown(words, lines);
  if (element.textContent !== text) element.textContent = text;
}
function set_cut_text(element, words) {
  set_text(element, words);
  const title = shown(words);
  if (element.title !== title) element.title = title;
}
function keep_keys(root, ...boxes) {
  root.addEventListener("mousedown", (event) => {
    const path = event.composedPath();
    if (!path.some((element) => element instanceof HTMLButtonElement)) return;
    event.preventDefault();
    if (!boxes.some((box) => path.includes(box))) root.focus();
  });
}

// shared/scrolling.js
var AROUND_PX = 130;
var LEAST_SHARE = 0.45;
function fitting_height(root, wanted, least) {
  const parts = (
    /** @type {HTMLElement[]} */
    [
      ...root.children
    ]
  );
  const beside = parts.filter((part) => !part.matches(".body, .foot, .live, .card"));
  const room = window.innerHeight - AROUND_PX - beside.reduce((sum, part) => sum + part.offsetHeight, 0);
  return Math.ceil(Math.max(least, Math.min(wanted, Math.max(LEAST_SHARE * window.innerHeight, room))));
}
function scrolled_by(element) {
  let node = element;
  while (node) {
    if (/auto|scroll/.test(getComputedStyle(node).overflowY) && node.scrollHeight > node.clientHeight + 1) return node;
    const within2 = node.getRootNode();
    node = node.parentElement ?? (within2 instanceof ShadowRoot ? within2.host : null);
  }
  return document.scrollingElement ?? document.documentElement;
}
function shown_by(scroller) {
  if (scroller === document.scrollingElement) return [
    0,
    window.innerHeight
  ];
  const { top, bottom } = scroller.getBoundingClientRect();
  return [
    top,
    bottom
  ];
}
function bring_up(box) {
  const scroller = scrolled_by(
    /** @type {HTMLElement} */
    box.parentElement
  );
  const before = scroller.scrollTop;
  box.style.top = "";
  const [edge] = shown_by(scroller);
  if (getComputedStyle(box).position === "absolute" && box.getBoundingClientRect().top < edge) {
    const frame = (
      /** @type {HTMLElement} */
      box.offsetParent
    );
    const lowest = frame.clientHeight - box.offsetHeight - 4;
    box.style.top = `${Math.max(4, Math.min(edge + 4 - frame.getBoundingClientRect().top, lowest))}px`;
  }
  box.scrollIntoView({
    block: "nearest"
  });
  const after = scroller.scrollTop;
  return () => {
    if (scroller.scrollTop === after) scroller.scrollTop = before;
  };
}
var STEPS = {
  ArrowDown: 1,
  ArrowUp: -1,
  PageDown: 8,
  PageUp: -8
};
var SCROLLS_PX = {
  ArrowDown: 40,
  ArrowUp: -40,
  PageDown: 300,
  PageUp: -300
};
function scroll_by(box, code) {
  const step = SCROLLS_PX[code];
  if (step) box.scrollBy(0, step);
  return Boolean(step);
}

// shared/asking.js
var LONGEST = 1e4;
var MOVES = {
  decides: false
};
function unfit(words) {
  const long = [
    ...words
  ].length;
  if (long > LONGEST) return `The text has ${long} letters; at most ${LONGEST} are allowed: shorten it.`;
  const odd = words.match(/[\p{Cc}\p{Cs}\p{Zl}\p{Zp}]/u)?.[0].codePointAt(0);
  if (odd === void 0) return "";
  const code = odd.toString(16).toUpperCase().padStart(4, "0");
  return `The text holds a control character or line break (U+${code}); one line of ordinary text is allowed: replace it.`;
}
function make_asking(root, notice, clear_away) {
  const form = h("div", {
    class: "form",
    hidden: true,
    role: "dialog",
    "aria-modal": "true",
    tabindex: -1
  });
  const button = (key, words, act) => h("button", {
    class: "do",
    onclick: () => act()
  }, h("kbd", {}, key), ` ${words}`);
  const leave = () => button("Esc", "leave as it was", close);
  let complaint = "";
  let scroll_back = () => {
  };
  let unsent = () => 0;
  function keeps() {
    const typed = [
      ...form.querySelectorAll("input:not([hidden])")
    ].some((input) => input instanceof HTMLInputElement && input.value !== input.defaultValue);
    if (form.hidden || !unsent() || !typed) return false;
    complain("The form holds words that are not yet saved: Enter confirms them, Esc leaves it as it was.");
    const field = (
      /** @type {HTMLElement | null} */
      form.querySelector("input:not([hidden])")
    );
    const back = () => (field ?? form).focus({
      preventScroll: true
    });
    back();
    requestAnimationFrame(back);
    return true;
  }
  function complain(words) {
    complaint = words;
    notice.pass(words);
  }
  function open(question, parts, key) {
    clear_away();
    form.replaceChildren(h("h4", {}, question), ...parts.filter((part) => part !== null));
    relabel_keys(form, "Key");
    form.hidden = false;
    form.setAttribute("aria-label", brief(question));
    form.focus({
      preventScroll: true
    });
    scroll_back = bring_up(form);
    asking.key = (event) => event.code === "Escape" ? close() : key(event);
  }
  function close() {
    if (form.hidden) return;
    form.hidden = true;
    asking.key = null;
    unsent = () => 0;
    scroll_back();
    if (complaint && notice.element.textContent === shown(complaint)) notice.show(notice.lasting);
    complaint = "";
    root().focus({
      preventScroll: true
    });
  }
  function on_enter(input, finish) {
    input.addEventListener("keydown", (event) => {
      if (event.isComposing) return;
      if (event.key === "Enter") {
        event.preventDefault();
        finish();
      }
      if (event.key === "Escape") close();
    });
  }
  function choose(question, choices, several, done) {
    const chosen = [];
    let at = -1;
    const items = choices.map((choice, i) => h("button", {
      class: "choice",
      id: `choice-${i}`,
      role: "option",
      "aria-selected": "false",
      onclick: () => toggle(choice)
    }, choice.code ? kbd({
      code: choice.code
    }) : null, ` ${choice.shown}`));
    const list = h("div", {
      class: "choices",
      role: "listbox",
      "aria-label": question,
      "aria-multiselectable": String(several),
      tabindex: -1
    }, ...items);
    const other2 = h("input", {
      type: "text",
      placeholder: "in words",
      hidden: true,
      "aria-label": "in words"
    });
    const keyless = choices.some(({ code }) => !code);
    function toggle(choice) {
      const place = chosen.indexOf(choice);
      if (place >= 0) chosen.splice(place, 1);
      else chosen.push(choice);
      items.forEach((item, i) => item.setAttribute("aria-selected", String(chosen.includes(choices[i]))));
      at = choices.indexOf(choice);
      if (!several) {
        finish();
        return;
      }
      other2.hidden = !chosen.some((c) => c.text);
      if (!other2.hidden) other2.focus();
    }
    function finish() {
      if (!chosen.length) {
        toggle_reached();
        return;
      }
      const said = other2.value.trim();
      if (!other2.hidden && !said) {
        other2.focus();
        return;
      }
      const complaint2 = unfit(said);
      if (complaint2) {
        complain(complaint2);
        return other2.focus();
      }
      const words = chosen.map((choice) => choice.text ? `${choice.words}: ${said}` : choice.words);
      if (several) {
        if (done(words) !== false) close();
      } else {
        close();
        done(words);
      }
    }
    const toggle_reached = () => {
      if (at >= 0) toggle(choices[at]);
    };
    function reach(by) {
      const from = at < 0 && by < 0 ? items.length : at;
      at = Math.max(0, Math.min(items.length - 1, from + by));
      items.forEach((item, i) => {
        item.dataset.reached = i === at ? "yes" : "";
      });
      items[at].scrollIntoView({
        block: "nearest"
      });
      list.setAttribute("aria-activedescendant", items[at].id);
    }
    on_enter(other2, finish);
    other2.addEventListener("keydown", (event) => {
      if (!STEPS[event.code] || event.isComposing) return;
      event.preventDefault();
      list.focus({
        preventScroll: true
      });
      reach(STEPS[event.code]);
    });
    open(question, [
      keyless ? h("p", {
        class: "hint"
      }, "\u2191 \u2193 reach every entry and the space bar takes it; " + (several ? "Enter confirms, Esc leaves." : "Esc leaves.")) : null,
      list,
      other2,
      h("div", {
        class: "buttons"
      }, several ? button("Enter", "confirm", finish) : null, leave())
    ], ({ code }) => {
      const choice = choices.find((c) => c.code === code);
      if (code === "Enter") finish();
      else if (STEPS[code]) reach(STEPS[code]);
      else if (code === "Space") toggle_reached();
      else if (choice) toggle(choice);
    });
    list.focus({
      preventScroll: true
    });
    unsent = () => Number(several && chosen.length > 0);
  }
  function ask(question, fields, done, { decides } = {
    decides: true
  }) {
    const inputs = fields.map((f) => h("input", {
      type: f.type ?? "text",
      value: f.value ?? "",
      name: f.name,
      step: "any",
      "aria-label": f.words ? null : question
    }));
    const finish = () => {
      const bad = inputs.find((input) => input.type === "number" && !Number.isFinite(input.valueAsNumber));
      if (bad) {
        complain(`"${bad.value}" is no number; give one, or leave with Esc.`);
        return bad.focus();
      }
      for (const input of inputs) {
        const complaint2 = input.type === "number" ? "" : unfit(input.value.trim());
        if (!complaint2) continue;
        complain(complaint2);
        return input.focus();
      }
      const values = inputs.map((input) => [
        input.name,
        input.type === "number" ? input.valueAsNumber : input.value.trim()
      ]);
      if (done(Object.fromEntries(values)) !== false) close();
    };
    open(question, [
      ...fields.map((f, i) => h("label", {}, f.words ? `${f.words} ` : null, inputs[i])),
      h("div", {
        class: "buttons"
      }, button("Enter", "confirm", finish), leave())
    ], ({ code }) => code === "Enter" && finish());
    for (const input of inputs) on_enter(input, finish);
    inputs[0].focus();
    inputs[0].select();
    unsent = () => Number(decides && inputs.some((input) => input.value !== input.defaultValue));
  }
  function pick(question, items, at, done) {
    const most = 200;
    const filter = h("input", {
      type: "text",
      placeholder: "type to narrow",
      "aria-label": "narrow the list"
    });
    const list = h("div", {
      class: "list",
      role: "listbox",
      "aria-label": question
    });
    let listed = [];
    let chosen = at;
    const finish = (index) => {
      close();
      done(index);
    };
    function fill() {
      const wanted = filter.value.trim().toLowerCase();
      const matching = items.map((words, index) => ({
        words,
        index
      })).filter(({ words }) => words.toLowerCase().includes(wanted));
      if (!matching.some(({ index }) => index === chosen)) chosen = matching[0]?.index;
      const place = matching.findIndex(({ index }) => index === chosen);
      const from = Math.max(0, Math.min(place - most / 2, matching.length - most));
      listed = matching.slice(from, from + most);
      list.replaceChildren(...listed.map(({ words, index }) => h("button", {
        class: "choice",
        role: "option",
        "aria-selected": String(index === chosen),
        onclick: () => finish(index)
      }, words)), ...matching.length > most ? [
        h("p", {}, `${listed.length} of ${matching.length} shown: type to narrow.`)
      ] : []);
      list.querySelector("[aria-selected=true]")?.scrollIntoView({
        block: "nearest"
      });
    }
    function move(by) {
      const place = listed.findIndex(({ index }) => index === chosen);
      const next = listed[Math.max(0, Math.min(listed.length - 1, place + by))];
      if (!next) return;
      chosen = next.index;
      for (const [i, item] of [
        ...list.querySelectorAll(".choice")
      ].entries()) {
        item.setAttribute("aria-selected", String(listed[i].index === chosen));
      }
      list.querySelector("[aria-selected=true]")?.scrollIntoView({
        block: "nearest"
      });
    }
    filter.addEventListener("input", fill);
    const take = () => chosen !== void 0 && listed.length && finish(chosen);
    filter.addEventListener("keydown", (event) => {
      if (STEPS[event.code]) {
        event.preventDefault();
        move(STEPS[event.code]);
      }
    });
    on_enter(filter, take);
    open(question, [
      filter,
      list,
      h("div", {
        class: "buttons"
      }, leave())
    ], ({ code }) => {
      if (STEPS[code]) move(STEPS[code]);
      else if (code === "Enter") take();
      else filter.focus();
    });
    fill();
    filter.focus();
  }
  function tell(heading, words) {
    open(heading, [
      h("div", {
        class: "told"
      }, ...words.split("\n").filter(Boolean).map((line2) => h("p", {}, line2))),
      h("div", {
        class: "buttons"
      }, button("Esc", "close, then the keys act", close))
    ], ({ code }) => {
      if (code === "Enter") close();
      else if (!scroll_by(form, code)) complain("Keys wait until this is read: Esc or Enter closes it.");
    });
  }
  const nobody = (
    /** @type {((pressed: Pressed) => unknown) | null} */
    null
  );
  const asking = {
    form,
    choose,
    ask,
    pick,
    tell,
    close,
    complain,
    keeps,
    get unsent() {
      return form.hidden ? 0 : unsent();
    },
    key: nobody
  };
  return asking;
}

// shared/key_card.js
function make_card(root, keys, what, mouse, clear_away) {
  const element = h("div", {
    class: "card",
    hidden: true,
    role: "dialog",
    "aria-label": "key card",
    tabindex: -1
  });
  function print() {
    const frame = h("iframe", {
      title: "key card for print",
      style: "position:absolute;width:0;height:0;border:0"
    });
    document.body.append(frame);
    const sheet = frame.contentWindow;
    if (!sheet) return;
    const page = sheet.document;
    page.title = "Keys";
    for (const part of element.querySelectorAll(":scope > h4, :scope > .columns")) {
      page.body.append(page.importNode(part, true));
    }
    page.body.style.cssText = "font: 12px sans-serif; columns: 2";
    sheet.onafterprint = () => frame.remove();
    sheet.print();
  }
  let scroll_back = () => {
  };
  function fill() {
    const groups = [
      ...new Set(keys.map((key) => key.group))
    ];
    element.replaceChildren(h("h4", {}, `Keys (they act while the frame around the ${what} is drawn thick)`), h("div", {
      class: "buttons"
    }, h("button", {
      class: "do",
      onclick: toggle
    }, h("kbd", {}, card_key(keys)), " close"), h("button", {
      class: "do",
      onclick: print
    }, "print")), h("p", {}, `By mouse: ${mouse}`), h("div", {
      class: "columns"
    }, ...groups.map((group) => h("table", {}, h("caption", {}, group), ...keys.filter((key) => key.group === group).map((key) => h("tr", {}, h("td", {}, kbd(key)), h("td", {}, key.words)))))));
    relabel_keys(element);
  }
  function hide() {
    if (element.hidden) return;
    element.hidden = true;
    scroll_back();
    root().focus({
      preventScroll: true
    });
  }
  function toggle() {
    if (!element.hidden) return hide();
    clear_away();
    element.hidden = false;
    fill();
    element.focus({
      preventScroll: true
    });
    scroll_back = bring_up(element);
  }
  return {
    element,
    toggle,
    hide,
    get open() {
      return !element.hidden;
    },
    /** A key while the card is open: it closes on Esc or on its own key, and can be scrolled.
     * @param {Action} key @param {Pressed} pressed */
    key(key, { code }) {
      if (code === "Escape" || key.command === "key_card") toggle();
      else scroll_by(element, code);
    }
  };
}

// shared/palette.js
var LIGHT = {
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
  here: "#0b539414"
};
var DARK = {
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
  here: "#7db8f01c"
};
var PALETTES = {
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
    here: "#003a701c"
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
    here: "#a8d4ff26"
  }
};
var MORE_CONTRAST = matchMedia("(prefers-contrast: more)");
var palette_name = (dark) => (dark ? "dark" : "light") + (MORE_CONTRAST.matches ? "_contrast" : "");
var canvas_font_px = () => 0.6875 * parseFloat(getComputedStyle(document.documentElement).fontSize);

// shared/layer.js
async function attach_layer(view, draw) {
  const plot = await until(() => [
    ...view._child_views.values()
  ].find((v) => v.canvas_view?.primary && v.frame));
  const canvas = document.createElement("canvas");
  canvas.style.cssText = "position:absolute;pointer-events:none";
  for (const name of [
    "start",
    "end"
  ]) plot.model.x_range.properties[name].internal = true;
  let set_in_frame = false;
  const layer = {
    canvas,
    frame: () => plot.frame.bbox,
    range: () => [
      plot.model.x_range.start,
      plot.model.x_range.end
    ],
    /** Paints at once, the first time in a frame: Bokeh's own pace would often let the next frame go by first. */
    set_range(start, end) {
      if (set_in_frame) return plot.model.x_range.setv({
        start,
        end
      });
      set_in_frame = true;
      requestAnimationFrame(() => {
        set_in_frame = false;
      });
      plot.pause();
      plot.model.x_range.setv({
        start,
        end
      });
      plot.unpause(true);
      plot.repaint();
    },
    colours(ink, grid, ground) {
      const plain2 = {
        syncable: false
      };
      for (const axis of [
        ...plot.model.below,
        ...plot.model.left
      ]) {
        if (!axis.properties.major_label_text_color) continue;
        axis.setv({
          major_label_text_color: ink,
          axis_label_text_color: ink,
          axis_line_color: grid,
          major_tick_line_color: grid,
          major_label_text_font_size: `${canvas_font_px()}px`,
          axis_label_text_font_size: `${1.2 * canvas_font_px()}px`
        }, plain2);
      }
      for (const line2 of plot.model.center) {
        if (line2.properties.grid_line_color) line2.setv({
          grid_line_color: grid
        }, plain2);
      }
      plot.model.setv({
        background_fill_color: ground,
        outline_line_color: grid
      }, plain2);
    },
    /** The letters of the axes, in CSS pixels. */
    letters(px) {
      const size = {
        major_label_text_font_size: `${px}px`,
        axis_label_text_font_size: `${1.1 * px}px`
      };
      for (const axis of plot.model.below) {
        if (axis.properties.major_label_text_font_size) axis.setv(size, {
          syncable: false
        });
      }
    },
    /** Height of the figure that is not the frame's, and the figure's own height, set. */
    around: () => plot.model.height - plot.frame.bbox.height,
    make_tall: (height) => {
      if (plot.model.height !== height) plot.model.setv({
        height
      }, {
        syncable: false
      });
    },
    /** Take the numbers off the time axis, or put them back. */
    hide_times(hidden) {
      for (const axis of plot.model.below) {
        if (!axis.properties.major_label_text_color) continue;
        axis.setv({
          major_label_text_alpha: hidden ? 0 : 1,
          axis_label_text_alpha: hidden ? 0 : 1
        }, {
          syncable: false
        });
      }
    },
    redraw() {
      const below = plot.canvas_view.primary.el;
      if (canvas.previousElementSibling !== below) below.after(canvas);
      const box = plot.frame.bbox;
      const ratio = window.devicePixelRatio || 1;
      const [width, height] = [
        Math.round(box.width * ratio),
        Math.round(box.height * ratio)
      ];
      if (width < 2 || height < 2) return;
      if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, {
        width,
        height
      });
      Object.assign(canvas.style, {
        left: `${box.left}px`,
        top: `${box.top}px`,
        width: `${box.width}px`,
        height: `${box.height}px`
      });
      draw(layer);
    },
    detach() {
      plot.repainted.disconnect(on_paint);
      canvas.remove();
    }
  };
  function clear_edges() {
    const { el } = plot.canvas_view.primary;
    const ctx = el.getContext("2d");
    ctx.save();
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.clearRect(0, 0, 1, el.height);
    ctx.clearRect(0, 0, el.width, 1);
    ctx.restore();
  }
  const on_paint = () => {
    clear_edges();
    layer.redraw();
  };
  plot.repainted.connect(on_paint);
  return layer;
}
function until(get) {
  return new Promise((resolve) => {
    const look = () => {
      const value = get();
      if (value !== null && value !== void 0) resolve(value);
      else requestAnimationFrame(look);
    };
    look();
  });
}

// shared/notices.js
function make_notice() {
  const element = h("div", {
    class: "notice",
    role: "alert"
  });
  let timer;
  const notice = {
    element,
    lasting: "",
    /** @param {string} words */
    show(words) {
      clearTimeout(timer);
      element.dataset.words = words ? "yes" : "";
      set_text(element, words);
    },
    /** @param {string} words */
    pass(words) {
      notice.show(words);
      timer = setTimeout(() => notice.show(notice.lasting), 8e3);
    },
    /** Say it until it is over, which is said by no words.
     * @param {string} words */
    last(words) {
      notice.lasting = words;
      notice.show(words);
    }
  };
  return notice;
}
function make_notes() {
  const list = h("ul");
  const count = h("button", {
    class: "plain",
    "aria-expanded": "false",
    onclick: () => notes.unfold(Boolean(list.hidden))
  });
  const first = h("span", {
    class: "first"
  });
  const element = h("div", {
    class: "notes"
  }, count, first, list);
  const notes = {
    element,
    /** @param {boolean} open */
    unfold(open) {
      list.hidden = !open;
      first.hidden = open;
      count.setAttribute("aria-expanded", String(open));
    },
    /** @param {string[]} words */
    fill(words) {
      element.hidden = !words.length;
      set_text(count, `${words.length} ${words.length === 1 ? "note" : "notes"}`);
      set_cut_text(first, words[0] ?? "");
      list.replaceChildren(...words.map((said) => h("li", {}, said)));
    }
  };
  notes.unfold(false);
  return notes;
}

// shared/frame.js
function make_frame(setup, act, root, { what, mouse }) {
  const notice = make_notice();
  const notes = make_notes();
  notes.fill(setup.notes);
  const asking = make_asking(root, notice, () => key_card.hide());
  const key_card = make_card(root, setup.keys, what, mouse, () => asking.close());
  const card_words = `key card (${card_key(setup.keys)})`;
  return {
    notice,
    notes,
    asking,
    key_card,
    keys_on: h("button", {
      class: "chip keys"
    }),
    saved: h("span", {
      class: "chip"
    }),
    card_button: h("button", {
      class: "plain",
      onclick: () => act({
        command: "key_card"
      })
    }, card_words),
    differs: h("div", {
      class: "differs",
      hidden: true
    }),
    live: h("div", {
      class: "live",
      role: "status",
      "aria-live": "polite"
    }),
    foot: h("div", {
      class: "foot"
    }, setup.processing)
  };
}
function button_groups(keys, told) {
  const groups = /* @__PURE__ */ new Map();
  for (const key of keys.filter(({ button }) => button)) {
    if (!groups.has(key.group)) {
      groups.set(key.group, h("div", {
        class: "buttons",
        role: "group",
        "aria-label": key.group
      }));
    }
    groups.get(key.group).append(h("button", {
      class: "do",
      "data-command": key.command,
      ...told(key)
    }, kbd(key), ` ${key.button}`));
  }
  return groups;
}
function show_saved(root, saved, { pending, held, doubtful, stopped }) {
  const waiting = pending.length + held;
  const perhaps = doubtful ? `, perhaps saved: ${doubtful}` : "";
  const words = waiting ? `\u2026 not yet saved: ${waiting}` : "\u2713 all saved";
  set_text(saved, stopped ? `\u2715 decisions stopped, not saved: ${waiting}${perhaps}` : words);
  saved.dataset.state = stopped ? "stopped" : waiting ? "waiting" : "saved";
  root.dataset.unsaved = String(waiting);
}
var is_dark = (root) => document.body.dataset.jpThemeLight === "false" || Boolean(root.closest(".dark")) || document.documentElement.matches("[data-theme=dark], .dark");
var theme_of = (root) => palette_name(is_dark(root));
function live(model, view, life) {
  const { root, keys_on } = life;
  let tallest = window.innerHeight;
  let layer = null;
  const show_focus = (on) => {
    root.dataset.keys = on ? "on" : "off";
    set_text(keys_on, on ? "keys on" : "keys off: click here");
  };
  listen_to_keys(root, life.keys, life.act);
  root.addEventListener("focusin", () => show_focus(true));
  root.addEventListener("focusout", ({ relatedTarget }) => {
    const stays = relatedTarget instanceof Node && root.contains(relatedTarget);
    if (!stays) life.leave(false);
    show_focus(stays);
  });
  const hide = () => life.leave(true);
  const hide_if_hidden = () => document.hidden && hide();
  function ask_before(event) {
    hide();
    if (life.unsaved()) event.preventDefault();
  }
  document.addEventListener("visibilitychange", hide_if_hidden);
  window.addEventListener("pagehide", hide);
  window.addEventListener("beforeunload", ask_before);
  show_focus(false);
  function dress() {
    const theme = theme_of(root);
    root.classList.toggle("dark-theme", theme.startsWith("dark"));
    const { ink, grid, ground } = PALETTES[theme];
    layer?.colours(ink, grid, ground);
    life.dress();
  }
  const themes = new MutationObserver(dress);
  themes.observe(document.body, {
    attributes: true,
    attributeFilter: [
      "data-jp-theme-light"
    ]
  });
  MORE_CONTRAST.addEventListener("change", dress);
  const clock2 = setInterval(() => {
    life.tick(root.dataset.keys === "on");
    if (window.innerHeight === tallest) return;
    tallest = window.innerHeight;
    life.fit();
  }, life.every_ms);
  const { draw } = life;
  const shown2 = draw ? attach_layer(view, draw) : until(() => root.isConnected && root.clientWidth ? true : null);
  shown2.then((made) => {
    shield(root);
    if (made !== true) {
      layer = made;
      life.ready?.(made);
    }
    dress();
  });
  relabel_keys(root);
  model.on("remove", () => {
    try {
      hide();
    } catch (fault) {
      console.warn("what was held could not be sent any more:", fault);
    }
    document.removeEventListener("visibilitychange", hide_if_hidden);
    window.removeEventListener("pagehide", hide);
    window.removeEventListener("beforeunload", ask_before);
    clearInterval(clock2);
    themes.disconnect();
    MORE_CONTRAST.removeEventListener("change", dress);
    layer?.detach();
    life.close();
  });
  return dress;
}

// shared/paint.js
var ms_words = (s) => `${Number((s * 1e3).toFixed(1))} ms`;
function plate(ctx, text, x, y, colours, align = "left", ink = colours.ink) {
  const words = brief(text);
  const wide = ctx.measureText(words).width;
  const high = parseFloat(ctx.font.replace("bold ", "")) + 2;
  const left = align === "left" ? x : align === "right" ? x - wide : x - wide / 2;
  ctx.fillStyle = colours.plate;
  ctx.fillRect(left - 2, y - high + 3, wide + 4, high);
  ctx.fillStyle = ink;
  ctx.fillText(words, left, y);
}
var width_of = (ctx, words) => ctx.measureText(brief(words)).width;
function cut_to(ctx, words, room, least = 2) {
  const text = brief(words);
  if (ctx.measureText(text).width <= room) return text;
  const letters = [
    ...text
  ];
  const cut = (n) => brief(`${letters.slice(0, n).join("").trimEnd()}\u2026`);
  let [fits, over] = [
    0,
    letters.length
  ];
  while (over - fits > 1) {
    const n = fits + over >> 1;
    if (ctx.measureText(cut(n)).width <= room) fits = n;
    else over = n;
  }
  return fits < least ? "" : cut(fits);
}
var HATCH_PX = 9;
function hatch(ctx, { left, right, top, height }, ink) {
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, top, right - left, height);
  ctx.clip();
  ctx.strokeStyle = ink;
  ctx.lineWidth = 1;
  ctx.beginPath();
  for (let x = left - height - left % HATCH_PX; x < right; x += HATCH_PX) {
    ctx.moveTo(x, top + height);
    ctx.lineTo(x + height, top);
  }
  ctx.stroke();
  ctx.restore();
}
function upright(ctx, x, top, bottom, { colour, thick = 1, dash = [] }) {
  const at = Math.round(x) + 0.5;
  ctx.strokeStyle = colour;
  ctx.lineWidth = thick;
  ctx.setLineDash(dash);
  ctx.beginPath();
  ctx.moveTo(at, top);
  ctx.lineTo(at, bottom);
  ctx.stroke();
  ctx.setLineDash([]);
}
function paper_of(canvas, { width, height }) {
  const ratio = window.devicePixelRatio || 1;
  const [wide, high] = [
    Math.round(width * ratio),
    Math.round(height * ratio)
  ];
  if (canvas.width !== wide || canvas.height !== high) Object.assign(canvas, {
    width: wide,
    height: high
  });
  const ctx = context_of(canvas);
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.clearRect(0, 0, width, height);
  return ctx;
}
function context_of(canvas, settings) {
  return (
    /** @type {CanvasRenderingContext2D} */
    canvas.getContext("2d", settings)
  );
}

// shared/plain.js
function not_plain(value, where = "") {
  if (typeof value === "number") return Number.isFinite(value) ? "" : `${where || "a number"} = ${value}`;
  if (value === null || value === void 0 || typeof value === "string" || typeof value === "boolean") return "";
  if (typeof value !== "object") return `${where || "a value"}, a ${typeof value},`;
  for (const [name, part] of Object.entries(value)) {
    const odd = not_plain(part, Array.isArray(value) ? where : name);
    if (odd) return odd;
  }
  return "";
}

// shared/wire.js
var PATIENCE_MS = 1500;
var BEAT_MS = 250;
var AGAIN_MS = 500;
var OFTEN = 20;
var SELDOM_MS = 10 * PATIENCE_MS;
var due = (times, at, now) => now - at > (times < OFTEN ? AGAIN_MS : SELDOM_MS);
function make_wire(model, { shown: shown2 = () => [], still = "" } = {}) {
  const client = `screen-${Math.random().toString(36).slice(2, 10)}`;
  const listeners = [];
  const pending = [];
  const done = [];
  const refused = /* @__PURE__ */ new Set();
  let doubtful = 0;
  let sent = 0;
  let serial = model.news ? JSON.parse(model.news).serial : 0;
  let beat_asked = 0;
  let beat_tried = -Infinity;
  let beats = 0;
  let unanswered = 0;
  let asks = 0;
  const asked = /* @__PURE__ */ new Map();
  const holding = [];
  let settled_at = -Infinity;
  let stopped = "";
  let fatal = false;
  const tell = (what) => listeners.forEach((listener) => listener(what));
  const send = (kind, data = {}) => model.send_msg({
    kind,
    client,
    ...data
  });
  const late = () => pending.length > 0 && performance.now() - Math.max(pending[0].at, settled_at) > PATIENCE_MS;
  function stop(words, for_good = false) {
    fatal ||= for_good;
    if (stopped === words) return;
    stopped = words;
    tell({
      stopped
    });
  }
  function go_on() {
    if (stopped && !fatal && !late()) stop("");
  }
  function send_again({ awaited, missing: missing2 = [
    awaited
  ] }) {
    if (pending.length && pending[0].n > awaited) {
      return stop("Python does not know decisions that it has confirmed: reload the page.", true);
    }
    const now = performance.now();
    for (const decision of pending) {
      if (!missing2.includes(decision.n) || now - (decision.again ?? -Infinity) < AGAIN_MS) continue;
      decision.again = now;
      const { at: _, again: __, ...said } = decision;
      send("decide", said);
    }
  }
  function insist(kind, held = []) {
    const now = performance.now();
    const before = asked.get(kind);
    asks += 1;
    const data = {
      held: [
        .../* @__PURE__ */ new Set([
          ...before?.data.held ?? [],
          ...held
        ])
      ]
    };
    const question = {
      n: asks,
      at: before?.at ?? -Infinity,
      times: 0,
      data
    };
    asked.set(kind, question);
    if (now - question.at > AGAIN_MS) put(kind, question);
  }
  function put(kind, question) {
    question.at = performance.now();
    question.times += 1;
    send(kind, {
      ...question.data,
      asks: question.n
    });
  }
  function take(update) {
    if (update.settled?.client === client) {
      beat_asked = unanswered = 0;
      if ((pending[0]?.n ?? Infinity) <= update.settled.n) settled_at = performance.now();
      done.push(...pending.splice(0, pending.filter(({ n }) => n <= update.settled.n).length));
      done.splice(0, done.length - 50);
    }
    for (const refusal of update.refused ?? []) {
      if (refusal.client !== client || refused.has(refusal.n)) continue;
      refused.add(refusal.n);
      if (refusal.doubt) doubtful += 1;
      tell({
        refusal: {
          ...refusal,
          decision: done.find((d) => d.n === refusal.n)
        }
      });
    }
    if (update.gap?.client === client) send_again(update.gap);
    if (update.answered?.client === client) {
      for (const [kind, { n }] of asked) if (n === update.answered.n) asked.delete(kind);
    }
    if (update.problem) stop(update.problem, true);
    else go_on();
    tell(update);
  }
  function on_news() {
    if (!model.news) return;
    const { updates } = JSON.parse(model.news);
    const fresh = updates.filter((update) => update.serial > serial);
    if (!fresh.length) return;
    const lost = fresh[0].serial > serial + 1;
    for (const update of fresh) {
      serial = update.serial;
      take(update);
    }
    if (lost) insist("everything", shown2());
  }
  function on_pulse() {
    if (!model.pulse.startsWith(`${client} `)) return;
    beat_asked = unanswered = 0;
    go_on();
  }
  for (const name of [
    "news",
    "pulse"
  ]) model.properties[name].internal = true;
  model.on("news", on_news);
  model.on("pulse", on_pulse);
  return {
    client,
    pending,
    send,
    insist,
    get stopped() {
      return stopped;
    },
    /** How many decisions failed while they were written: whether they are on disk is not known. */
    get doubtful() {
      return doubtful;
    },
    /** How much is held in the browser that is not yet sent. */
    get held() {
      return holding.reduce((sum, count) => sum + count(), 0);
    },
    /** Count what is held there, too.
     * @param {() => number} count */
    hold: (count) => holding.push(count),
    /** @param {(what: News) => void} listener */
    listen: (listener) => listeners.push(listener),
    tell,
    /** Send one decision; false where none may be taken.
     * @param {Decision} decision */
    decide(decision) {
      const odd = not_plain(decision);
      if (odd) {
        tell({
          unfit: `Not taken: ${odd} cannot be sent; finite numbers and text are allowed. Say it anew.`
        });
        return false;
      }
      if (stopped) return false;
      sent += 1;
      pending.push({
        ...decision,
        n: sent,
        at: performance.now()
      });
      send("decide", {
        ...decision,
        n: sent
      });
      tell({
        pending: pending.length
      });
      return true;
    },
    /** Called a few times a second: asks whether Python is there, and says so when it is not.
     * @param {boolean} attentive */
    watch(attentive) {
      const now = performance.now();
      const waiting = attentive || pending.length > 0;
      const slow = pending.find((decision) => decision.args?.slow);
      if (slow) {
        if (late()) stop(slow.args.slow);
      } else if (late()) {
        stop(`Python has not confirmed ${pending.length} decision(s): no further decisions are taken. If the kernel was restarted, run the cell again: review goes on where the file ends.${still}`);
      } else if (waiting && beat_asked && now - beat_asked > PATIENCE_MS) {
        stop(`Python does not answer: no decisions are taken. It may be busy with another cell; if the kernel was restarted, run the cell again: review goes on where the file ends.${still}`);
      }
      if (waiting && (beat_asked ? due(unanswered, beat_tried, now) : now - beat_tried > BEAT_MS)) {
        beat_asked ||= now;
        beat_tried = now;
        beats += 1;
        unanswered += 1;
        send("beat", {
          n: beats,
          sent,
          settled: (pending[0]?.n ?? sent + 1) - 1
        });
      }
      for (const [kind, question] of asked) if (due(question.times, question.at, now)) put(kind, question);
    },
    close() {
      model.off?.("news", on_news);
      model.off?.("pulse", on_pulse);
    }
  };
}

// shared/geometry.js
var px_of = (s, [x0, x1], width) => (s - x0) / (x1 - x0) * width;
var seconds_at = (x, [x0, x1], width) => x0 + x / width * (x1 - x0);
var snap = (s, rate_hz) => Math.round(s * rate_hz) / rate_hz;
var whole_step = (by_s, rate_hz) => Math.sign(by_s) * Math.max(1, Math.round(Math.abs(by_s) * rate_hz));
var within = (value, low, high) => Math.min(high, Math.max(low, value));
var band_at = (bands, y) => bands.find((band) => y >= band.top && y < band.top + band.height);
function nearest(marks, s, reach_s) {
  const away = (mark2) => Math.abs(mark2.s - s);
  const [mark] = [
    ...marks
  ].sort((a, b) => away(a) - away(b));
  return mark && away(mark) <= reach_s ? mark : null;
}
function lower_bound(entries, s) {
  let [a, b] = [
    0,
    entries.length
  ];
  while (a < b) {
    const middle = a + b >> 1;
    if (entries[middle][0] < s) a = middle + 1;
    else b = middle;
  }
  return a;
}
function round_below(value) {
  const power = 10 ** Math.floor(Math.log10(value));
  return ([
    5,
    2,
    1
  ].find((m) => m * power <= value) ?? 1) * power;
}
function place_of(event, layer, bands) {
  const box = layer.canvas.getBoundingClientRect();
  const [x, y] = [
    event.clientX - box.left,
    event.clientY - box.top
  ];
  const range = layer.range();
  return {
    x,
    s: seconds_at(x, range, box.width),
    s_per_px: (range[1] - range[0]) / box.width,
    inside: x >= 0 && x <= box.width && y >= 0 && y <= box.height,
    band: band_at(bands(box.height), y)
  };
}

// long/bands.js
var head_lines = (font_px) => font_px > 15 ? 2 : 1;
var head_px = (font_px) => head_lines(font_px) * (Math.round(font_px) + 4) + 3;
var least_row_px = (font_px) => Math.ceil(3 * font_px);
function lay_rows(channels, height, font_px) {
  let top = head_px(font_px);
  const free = height - top;
  const lower = channels.filter((channel) => channel.auxiliary).length;
  const full = channels.length - lower;
  const least = Math.min(least_row_px(font_px), free / channels.length);
  const low = full ? Math.max(least, 0.7 * free / (full + 0.7 * lower)) : free / lower;
  const high = full ? (free - lower * low) / full : 0;
  return channels.map((channel, row) => {
    const band = {
      row,
      top,
      height: channel.auxiliary ? low : high
    };
    top += band.height;
    return band;
  });
}
function heights(channel, { kind, gain }, band) {
  const middle_y = band.top + band.height / 2;
  if (channel.auxiliary) {
    const [low, high] = channel.limits;
    const half = ((high - low) / 2 || 0.5) / gain;
    const rise2 = -(band.height / 2 - 4) / half;
    return {
      zero: middle_y - (low + high) / 2 * rise2,
      rise: rise2,
      shown: 2 * half
    };
  }
  const full = channel.kinds[kind] / gain;
  if (kind === "rectified" || kind === "envelope") {
    const rise2 = -(band.height - 6) / full;
    return {
      zero: band.top + band.height - 3,
      rise: rise2,
      shown: full
    };
  }
  const rise = -(band.height / 2 - 2) / full;
  return {
    zero: middle_y - (kind === "raw" ? channel.middle : 0) * rise,
    rise,
    shown: 2 * full
  };
}
function scale_bar(to, band) {
  const value = round_below(0.7 * (band.height - 6) / -to.rise);
  return {
    value,
    long: value * -to.rise
  };
}

// shared/pack.js
var MISSING = -32768;
function unpack(buffer) {
  const length = new DataView(buffer).getInt32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const fill = (trace) => Object.assign(trace, {
    samples: new Int16Array(buffer, 4 + length + trace.at, trace.n)
  });
  return {
    head,
    fill
  };
}

// long/ribbon.js
var TICKS_PX = 24;
var trace_px = (height) => height - TICKS_PX;
function draw_ribbon(ctx, scene, ribbon, width, height) {
  const { setup, focus, range, theme, font_px } = scene;
  const colours = PALETTES[theme];
  const px = (s) => s / setup.duration_s * width;
  const tall = trace_px(height);
  ctx.clearRect(0, 0, width, height);
  ctx.fillStyle = colours.band;
  ctx.fillRect(0, 0, width, tall);
  const trace = ribbon?.traces.get(focus);
  if (ribbon && trace) {
    ctx.fillStyle = colours.raw;
    let [least, most] = [
      Infinity,
      -Infinity
    ];
    for (let i = 0; i < trace.low.length; i++) {
      if (trace.low[i] === MISSING) continue;
      least = Math.min(least, trace.low[i]);
      most = Math.max(most, trace.high[i]);
    }
    const rise = (tall - 4) / (most - least || 1);
    const step = px(ribbon.width / setup.rate_hz);
    for (let i = 0; i < trace.low.length; i++) {
      if (trace.low[i] === MISSING) continue;
      const top = 2 + (most - trace.high[i]) * rise;
      ctx.fillRect(i * step, top, Math.max(step, 0.6), Math.max(1, (trace.high[i] - trace.low[i]) * rise));
    }
  }
  if (scene.share < 100) {
    plate(ctx, `reading the file, ${scene.share} %`, width - 6, font_px + 2, colours, "right", colours.faint);
  }
  ctx.fillStyle = colours.ink;
  let before = -2;
  for (const [s] of setup.markers) {
    const x = px(s);
    if (x - before < 1) continue;
    ctx.fillRect(x, tall + 2, 1, 7);
    before = x;
  }
  const [a, b] = range.map(px);
  ctx.strokeStyle = colours.accent;
  ctx.fillStyle = `${colours.accent}2a`;
  ctx.lineWidth = 2;
  ctx.fillRect(a, 1, Math.max(4, b - a), height - 2);
  ctx.strokeRect(a, 1, Math.max(4, b - a), height - 2);
}

// long/draw_marks.js
var EDGES_S = 60;
var BARS_S = 600;
function draw_marks(ctx, { cards, status, selected }, scene, width, height) {
  const { setup, range, font_px } = scene;
  const [x0, x1] = range;
  const colours = PALETTES[scene.theme];
  const px = (s) => px_of(s, range, width);
  const in_view = (a, b = a) => b >= x0 && a <= x1;
  const bands = lay_rows(setup.channels, height, font_px);
  const near = x1 - x0 < EDGES_S;
  for (const stretch of status.aside) {
    if (in_view(stretch.start_s, stretch.stop_s)) draw_aside(ctx, stretch, bands, px, width, colours, font_px);
  }
  const line2 = (band, s, { colour, thick, dash, words, low }) => {
    const x = Math.round(px(s)) + 0.5;
    if (x < 0 || x > width) return;
    upright(ctx, px(s), band.top + 2, band.top + band.height - 2, {
      colour,
      thick,
      dash
    });
    if (words) {
      plate(ctx, words, x + 4, low ? band.top + band.height - 5 : band.top + font_px + 1, colours, "left", colour);
    }
  };
  const burst = (band, [onset_s, offset_s], sure, held, words) => {
    const end_s = offset_s ?? onset_s;
    if (!in_view(onset_s, end_s)) return;
    ctx.strokeStyle = ctx.fillStyle = colours.onset;
    ctx.lineWidth = 1;
    const [left, top, long] = [
      px(onset_s),
      band.top + band.height - 5,
      Math.max(3, px(end_s) - px(onset_s))
    ];
    if (sure) ctx.fillRect(left, top, long, 4);
    else ctx.strokeRect(left + 0.5, Math.round(top) + 0.5, long - 1, 3);
    if (!near) return;
    const thick = (side) => held?.side === side ? 3 : 1.6;
    line2(band, onset_s, {
      dash: [],
      colour: colours.onset,
      thick: thick(0),
      words: held ? words : ""
    });
    if (offset_s == null) return;
    line2(band, offset_s, {
      dash: [
        6,
        3
      ],
      colour: colours.offset,
      thick: thick(1),
      words: held ? "offset" : "",
      low: true
    });
  };
  for (const card of x1 - x0 < BARS_S ? cards : []) {
    if (!in_view(card.start_s, card.stop_s)) continue;
    for (const { id, row, onset_s, offset_s, sure } of card.bursts) {
      const same = selected?.burst?.trial === card.trial && selected.burst.id === id && selected.row === row;
      const held = same ? selected : null;
      burst(bands[row], held?.ends ?? [
        onset_s,
        offset_s
      ], sure, held, "onset");
    }
  }
  for (const { row, start_s, stop_s, words } of status.marked) {
    burst(bands[row], [
      start_s,
      stop_s
    ], true, {}, `${words}, in no trial`);
  }
  if (selected && !selected.burst) {
    const band = bands[selected.row];
    const [start_s, end_s] = [
      selected.ends[0],
      selected.ends[1] ?? selected.ends[0]
    ];
    const thick = (side) => selected.side === side ? 3 : 1.5;
    ctx.fillStyle = colours.interval;
    ctx.fillRect(px(start_s), band.top + 1, Math.max(1, px(end_s) - px(start_s)), band.height - 2);
    line2(band, start_s, {
      dash: [],
      colour: colours.ink,
      thick: thick(0),
      words: "start"
    });
    line2(band, end_s, {
      dash: [
        6,
        3
      ],
      colour: colours.ink,
      thick: thick(1),
      words: "end",
      low: true
    });
  }
  const feet = [];
  const whole = {
    top: head_px(font_px),
    height: height - head_px(font_px)
  };
  const cue = (s, dash, thick, words) => {
    if (!in_view(s)) return;
    line2(whole, s, {
      dash,
      colour: colours.offset,
      thick
    });
    feet.push({
      x: px(s),
      words,
      ink: colours.offset
    });
  };
  for (const card of near ? cards : []) {
    if (card.corrected_s != null) cue(card.corrected_s, [], 2, `${card.cue}, corrected`);
    if (card.none) cue(card.cue_s, [
      1,
      3
    ], 3, `no ${card.cue}: ${card.none}`);
  }
  for (const [s, label] of status.added) cue(s, [], 2, `${label}, added`);
  return feet;
}
function draw_aside(ctx, { row, start_s, stop_s, words }, bands, px, width, colours, font_px) {
  const { top, height } = bands[row];
  const [left, right] = [
    Math.max(0, px(start_s)),
    Math.min(width, px(stop_s))
  ];
  hatch(ctx, {
    left,
    right: Math.max(right, left + 1),
    top: top + 1,
    height: height - 2
  }, colours.faint);
  const shown2 = cut_to(ctx, `set aside: ${words}`, right - left - 6);
  if (shown2) plate(ctx, shown2, left + 3, top + font_px + 1, colours);
}
function draw_on_ribbon(ctx, { cards, status }, { setup, theme }, width, height) {
  const colours = PALETTES[theme];
  const all = [
    0,
    setup.duration_s
  ];
  const px = (s) => px_of(s, all, width);
  const foot = height - 3;
  ctx.fillStyle = colours.ink;
  for (const { start_s, stop_s, status: status2, none } of cards) {
    const tall2 = none ? 0 : {
      reviewed: 10,
      begun: 5,
      open: 1
    }[status2];
    ctx.fillRect(px(start_s), foot - tall2, Math.max(1, px(stop_s) - px(start_s) - 1), tall2);
  }
  const tall = trace_px(height);
  ctx.strokeStyle = colours.onset;
  ctx.lineWidth = 1;
  for (const { start_s, stop_s } of status.aside) {
    const [a, b] = [
      px(start_s),
      Math.max(px(start_s) + 3, px(stop_s))
    ];
    ctx.strokeRect(a + 0.5, tall - 8.5, b - a, 8);
    ctx.beginPath();
    for (let x = a; x < b; x += 4) {
      ctx.moveTo(x, tall);
      ctx.lineTo(Math.min(b, x + 4), tall - 8);
    }
    ctx.stroke();
  }
}

// long/marks.js
var NEAR_PX = 6;
var NUDGE_MS = 300;
var SIDES = (
  /** @type {const} */
  [
    0,
    1
  ]
);
var other = (side) => SIDES[1 - side];
function make_marks(setup, host) {
  const cards = /* @__PURE__ */ new Map();
  let status = {
    aside: [],
    marked: [],
    added: []
  };
  let selected = null;
  let dragging = false;
  let nudged;
  const { rate_hz, n_samples } = setup;
  const snapped = (s) => within(snap(s, rate_hz), 0, (n_samples - 1) / rate_hz);
  const in_view = (s) => s >= host.range()[0] && s <= host.range()[1];
  const burst_of = ({ trial, id }, row) => cards.get(trial)?.bursts.find((b) => b.id === id && b.row === row);
  function take(update) {
    for (const card of update.trials ?? []) cards.set(card.trial, card);
    if (update.status) status = update.status;
    if (!selected?.burst || selected.moved || dragging) return;
    const burst = burst_of(selected.burst, selected.row);
    if (burst) selected.ends = [
      burst.onset_s,
      burst.offset_s
    ];
    else selected = null;
  }
  function take_burst(card, burst, side) {
    flush();
    const { id, row, onset_s, offset_s } = burst;
    selected = {
      burst: {
        trial: card.trial,
        id
      },
      row,
      ends: [
        onset_s,
        offset_s
      ],
      side,
      moved: false
    };
  }
  function flush() {
    clearTimeout(nudged);
    if (!selected?.moved || !selected.burst) return;
    selected.moved = false;
    const { burst: { trial, id }, row, ends: [onset_s, offset_s] } = selected;
    if (!host.decide("move", {
      trial,
      burst: id,
      row,
      onset_s,
      offset_s
    })) take({});
  }
  function move_edge(held, side, s) {
    held.ends[side] = snapped(s);
    held.side = side;
    held.moved = true;
    const [a, b] = held.ends;
    if (b != null && b < a) {
      held.ends = [
        b,
        a
      ];
      held.side = other(side);
    }
    host.set_cursor(held.ends[held.side] ?? a);
    if (!held.burst || dragging) return;
    clearTimeout(nudged);
    nudged = setTimeout(flush, NUDGE_MS);
  }
  function nudge(by_s) {
    if (selected?.side == null) return false;
    const at_s = selected.ends[selected.side];
    if (at_s == null) return false;
    move_edge(selected, selected.side, at_s + by_s);
    return true;
  }
  function whole_stretch() {
    if (!selected || selected.burst) return null;
    const { row, ends: [start_s, stop_s] } = selected;
    return stop_s != null && stop_s > start_s ? {
      row,
      start_s,
      stop_s
    } : null;
  }
  const need_stretch = () => host.notice(selected && !selected.burst ? "The selected stretch has no length: move its end first." : "Select a stretch first: [ and ] at the cursor, or drag with Shift.");
  function nearest_card() {
    const s = host.cursor();
    const away = (card) => Math.abs((card.corrected_s ?? card.cue_s) - s);
    return [
      ...cards.values()
    ].sort((a, b) => away(a) - away(b))[0];
  }
  function nearest_cue() {
    const card = nearest_card();
    if (card && in_view(card.cue_s)) return card;
    host.notice("No cue of a trial is in view.");
    return null;
  }
  function stretch_decision(command, more) {
    const stretch = whole_stretch();
    if (!stretch) return need_stretch();
    const taken = host.decide(command, {
      ...stretch,
      ...more
    });
    if (taken) selected = null;
    host.refresh();
    return taken;
  }
  const why = (question, value, done) => host.asking.ask(question, [
    {
      name: "said",
      words: "",
      value
    }
  ], ({ said }) => done(said));
  const commands = {
    edge: ({ arguments: { side } }) => {
      const s = snapped(host.cursor());
      const held = selected?.row === host.focus() ? selected : null;
      const across = held && (side === 0 ? held.ends[1] != null && s >= held.ends[1] : s < held.ends[0]);
      if (across && held.burst) {
        return host.notice("That would put the end of the burst before its start. Esc lets go of it.");
      }
      if (!held || across) {
        flush();
        selected = {
          burst: null,
          row: host.focus(),
          ends: [
            s,
            s
          ],
          side: other(side),
          moved: false
        };
      } else move_edge(held, side, s);
      host.refresh();
    },
    switch_side: () => {
      if (!selected) return host.notice("Nothing is selected: [ and ] select a stretch, I the next burst.");
      flush();
      const held = selected;
      held.side = held.side === 0 ? 1 : held.side === 1 ? null : 0;
      const at_s = held.side == null ? null : held.ends[held.side];
      if (at_s != null) host.set_cursor(at_s);
      host.refresh();
    },
    let_go: () => {
      flush();
      selected = null;
      host.refresh();
    },
    next_mark: () => {
      flush();
      const s = host.cursor() + 0.5 / rate_hz;
      const all = [
        ...cards.values()
      ].flatMap((card) => card.bursts.map((burst) => ({
        card,
        burst
      })));
      const [later] = all.filter(({ burst }) => burst.row === host.focus() && burst.onset_s > s).sort((a, b) => a.burst.onset_s - b.burst.onset_s);
      if (!later) return host.notice("There is no later burst on this channel.");
      take_burst(later.card, later.burst, 0);
      host.go_to(later.burst.onset_s, `burst, onset ${later.burst.onset_s.toFixed(3)} s`);
    },
    mark_burst: () => stretch_decision("mark_burst", {
      kind: "response"
    }),
    set_aside: () => {
      if (!whole_stretch()) return need_stretch();
      host.asking.choose("Why is this stretch set aside?", setup.choices.reasons, true, (reasons) => stretch_decision("set_aside", {
        reasons
      }) ? host.asking.close() : false);
    },
    burst_kind: () => {
      if (!selected?.burst) return host.notice("Select a burst first: click its edge, or I for the next one.");
      flush();
      const { burst: { trial, id }, row } = selected;
      host.asking.choose("What kind of burst is this?", setup.choices.kind, false, ([kind]) => host.decide("kind", {
        trial,
        burst: id,
        row,
        kind
      }));
    },
    remove: () => {
      if (!selected?.burst) {
        return host.notice("Select a burst first; stretches set aside are taken back by undo.");
      }
      selected.moved = false;
      const { burst: { trial, id }, row } = selected;
      if (host.decide("remove", {
        trial,
        burst: id,
        row
      })) selected = null;
      host.refresh();
    },
    correct_cue: () => {
      const card = nearest_cue();
      const at_s = snapped(host.cursor());
      if (!card) return;
      const by_ms = (at_s - card.cue_s) * 1e3;
      const by = `${Math.abs(by_ms).toFixed(1)} ms ${by_ms < 0 ? "earlier" : "later"}`;
      why(`The cue ${card.cue} at ${card.cue_s.toFixed(3)} s belongs at ${at_s.toFixed(3)} s (${by}). Why?`, by_ms < 0 ? "late" : "early", (reason) => host.decide("correct_cue", {
        trial: card.trial,
        at_s,
        reason
      }));
    },
    no_cue: () => {
      const card = nearest_cue();
      if (!card) return;
      if (card.none) return host.decide("no_cue", {
        trial: card.trial,
        reason: null
      });
      why(`The cue ${card.cue} at ${card.cue_s.toFixed(3)} s is none. Why?`, "double", (reason) => host.decide("no_cue", {
        trial: card.trial,
        reason
      }));
    },
    add_cue: () => {
      const at_s = snapped(host.cursor());
      const which = setup.cues.length > 1 ? `Which (${setup.cues.join(" or ")})?` : "Which?";
      why(`A cue is missing at ${at_s.toFixed(4)} s. ${which}`, nearest_card()?.cue ?? setup.cues[0], (label) => host.decide("add_cue", {
        at_s,
        label
      }));
    },
    undo: () => {
      flush();
      host.decide("undo", {});
    },
    redo: () => {
      flush();
      host.decide("redo", {});
    }
  };
  function edge_at({ s, band, s_per_px }) {
    if (!band) return null;
    const slack = NEAR_PX * s_per_px;
    const close = (t) => t != null && Math.abs(t - s) <= slack;
    const side = selected?.row === band.row ? SIDES.find((one) => close(selected?.ends[one] ?? null)) : void 0;
    if (side != null) return {
      side
    };
    for (const card of cards.values()) {
      if (card.stop_s < s - slack || card.start_s > s + slack) continue;
      for (const burst of card.bursts) {
        if (burst.row !== band.row) continue;
        if (close(burst.onset_s)) return {
          card,
          burst,
          side: 0
        };
        if (close(burst.offset_s)) return {
          card,
          burst,
          side: 1
        };
      }
    }
    return null;
  }
  function down(at, event) {
    if (!setup.decides || !at.band) return false;
    if (event.shiftKey) {
      flush();
      const s = snapped(at.s);
      selected = {
        burst: null,
        row: at.band.row,
        ends: [
          s,
          s
        ],
        side: 1,
        moved: false
      };
    } else {
      const edge = edge_at(at);
      if (!edge) return false;
      if (edge.card && edge.burst) take_burst(edge.card, edge.burst, edge.side);
      else if (selected) selected.side = edge.side;
    }
    dragging = true;
    return true;
  }
  function drag(at) {
    if (dragging && selected?.side != null) move_edge(selected, selected.side, at.s);
    return dragging;
  }
  function up() {
    if (!dragging) return false;
    dragging = false;
    if (selected && !selected.burst && (selected.ends[1] ?? 0) - selected.ends[0] < 1.5 / rate_hz) selected = null;
    flush();
    return true;
  }
  function words(row, s) {
    const aside = status.aside.filter((a) => a.row === row && a.start_s <= s && s < a.stop_s);
    return [
      ...aside.map((a) => `set aside: ${a.words}`),
      selected_words()
    ].filter(Boolean).join(" \xB7 ");
  }
  function selected_words() {
    if (!selected) return "";
    const { ends: [a, b], side } = selected;
    const what = selected.burst ? "burst" : "stretch";
    const long = b == null ? "" : ` to ${b.toFixed(4)} s (${((b - a) * 1e3).toFixed(0)} ms)`;
    return `selected ${what}: ${a.toFixed(4)}${long}${side == null ? "" : `, ${[
      "start",
      "end"
    ][side]} moves`}`;
  }
  return {
    take,
    commands,
    nudge,
    down,
    drag,
    up,
    edge_at,
    words,
    /** What there is to be drawn. */
    get shown() {
      return {
        cards: [
          ...cards.values()
        ],
        status,
        selected
      };
    },
    /** How much is moved that is not yet sent. */
    get held() {
      return Number(Boolean(selected?.burst && selected.moved));
    },
    flush,
    close: () => clearTimeout(nudged)
  };
}

// long/moving.js
function seconds_of(words) {
  const parts = words.replace(",", ".").replace(/s$/, "").trim().split(":");
  const numbers = parts.map((part) => part.trim() === "" ? NaN : Number(part));
  return parts.length > 3 ? NaN : numbers.reduce((sum, part) => sum * 60 + part, 0);
}
function make_moving(setup, state, screen, refresh) {
  const { duration_s, rate_hz, markers } = setup;
  const { rows, show } = state;
  const all_rows = rows.map((_, row) => row);
  function shift(by_s) {
    const [x0, x1] = state.range();
    show(x0 + by_s, x1 + by_s);
  }
  function span_s() {
    const [x0, x1] = state.range();
    return x1 - x0;
  }
  const centre = (s) => show(s - span_s() / 2, s + span_s() / 2);
  function go_to(s, words = "") {
    const span = span_s();
    state.cursor_s = state.inside(s);
    state.said = words;
    const [x0, x1] = state.range();
    if (s < x0 + 0.1 * span || s > x1 - 0.1 * span) centre(s);
    refresh();
  }
  function middle() {
    const [x0, x1] = state.range();
    return state.cursor_s > x0 && state.cursor_s < x1 ? state.cursor_s : (x0 + x1) / 2;
  }
  function zoom(factor, at = middle()) {
    const [x0, x1] = state.range();
    const span = Math.min(duration_s, Math.max(state.shortest_s, (x1 - x0) * factor));
    const start = at - (at - x0) / (x1 - x0) * span;
    show(start, start + span);
  }
  function seen_cursor() {
    const [x0, x1] = state.range();
    if (state.cursor_s < x0 || state.cursor_s > x1) state.cursor_s = (x0 + x1) / 2;
    return state.cursor_s;
  }
  function step_marker(by) {
    const half = 0.5 / rate_hz;
    const from = seen_cursor();
    const marker = markers[by > 0 ? lower_bound(markers, from + half) : lower_bound(markers, from - half) - 1];
    if (!marker) return screen.notice.pass(by > 0 ? "There is no later marker." : "There is no earlier marker.");
    go_to(marker[0], `${marker[1]} at ${marker[0].toFixed(3)} s`);
  }
  function face(row) {
    state.focus = Math.max(0, Math.min(rows.length - 1, row));
    state.said = "";
  }
  function set_kind(which, kind) {
    for (const row of which) if (!setup.channels[row].auxiliary) rows[row].kind = kind;
    refresh();
  }
  function set_gain(which, factor) {
    for (const row of which) rows[row].gain = factor ? Math.min(256, Math.max(1 / 256, rows[row].gain * factor)) : 1;
    refresh();
  }
  function choose_marker() {
    if (!markers.length) return screen.notice.pass("This recording has no markers.");
    const at = Math.min(markers.length - 1, lower_bound(markers, state.cursor_s - 0.5 / rate_hz));
    const items = markers.map(([s, words]) => `${s.toFixed(3)} s  ${words}`);
    screen.asking.pick(`Go to which of ${markers.length} markers?`, items, at, (i) => go_to(...markers[i]));
  }
  function ask_time() {
    const question = `Go to which time? Seconds from the start (0 to ${duration_s.toFixed(0)}), or h:mm:ss`;
    screen.asking.ask(question, [
      {
        name: "time",
        words: "",
        value: state.cursor_s.toFixed(3)
      }
    ], ({ time }) => {
      const s = seconds_of(time);
      if (s >= 0 && s <= duration_s) return go_to(s);
      const allowed = `give 0 to ${duration_s.toFixed(3)} s, or h:mm:ss.`;
      screen.asking.complain(`\u201C${time}\u201D is no time of this recording: ${allowed}`);
      return false;
    }, MOVES);
  }
  function step_cursor(marks, { by_s, widths = 0 }) {
    const by = by_s == null ? widths * span_s() : whole_step(by_s, rate_hz) / rate_hz;
    if (marks.nudge(by)) return refresh();
    const at = seen_cursor() + by;
    go_to(by_s ? Math.round(at * rate_hz) / rate_hz : at);
  }
  const commands = (marks) => ({
    pan: ({ arguments: { widths } }) => shift(widths * span_s()),
    start: () => go_to(0, "start of the recording"),
    end: () => go_to(duration_s, "end of the recording"),
    next_marker: () => step_marker(1),
    previous_marker: () => step_marker(-1),
    marker_list: choose_marker,
    go_to: ask_time,
    next_channel: () => {
      face(state.focus + 1);
      refresh();
    },
    previous_channel: () => {
      face(state.focus - 1);
      refresh();
    },
    channel: ({ row = state.focus }) => {
      face(row);
      refresh();
    },
    zoom: ({ arguments: { factor } }) => zoom(factor),
    usual_span: () => {
      const [at, half] = [
        middle(),
        (setup.view_s[1] - setup.view_s[0]) / 2
      ];
      show(at - half, at + half);
    },
    whole: () => show(0, duration_s),
    show: ({ arguments: { kind } }) => set_kind([
      state.focus
    ], kind),
    show_all: ({ arguments: { kind } }) => set_kind(all_rows, kind),
    next_kind: ({ row = state.focus }) => {
      state.focus = row;
      set_kind([
        row
      ], setup.kinds[(setup.kinds.indexOf(rows[row].kind) + 1) % setup.kinds.length]);
    },
    gain: ({ arguments: { factor } }) => set_gain([
      state.focus
    ], factor),
    gain_all: ({ arguments: { factor } }) => set_gain(all_rows, factor),
    cursor: ({ arguments: by }) => step_cursor(marks, by),
    key_card: () => screen.key_card.toggle()
  });
  return {
    commands,
    go_to,
    shift,
    zoom,
    centre,
    face,
    seen_cursor
  };
}

// long/outlines.js
var TRACE_COLOURS = {
  raw: "auxiliary",
  "band-passed": "raw",
  rectified: "faint",
  envelope: "envelope"
};
function pixel_of(hex) {
  const [r, g, b] = [
    1,
    3,
    5
  ].map((at) => parseInt(hex.slice(at, at + 2), 16));
  return (4278190080 | b << 16 | g << 8 | r) >>> 0;
}
function paint_columns(paper, trace, have, s0, s1, band, to, colour, thick) {
  const { words, width, ratio } = paper;
  const { low, high } = trace;
  const per = (s1 - s0) / width;
  const first = Math.round(band.top * ratio) + 1;
  const last = Math.round((band.top + band.height) * ratio) - 2;
  const zero = (to.zero + trace.offset * to.rise) * ratio;
  const rise = trace.scale * to.rise * ratio;
  const more = (thick * ratio - 1) / 2;
  let above = NaN;
  let below = NaN;
  for (let x = 0; x < width; x++) {
    let i = Math.floor((s0 + x * per - have.start) / have.width);
    let end = Math.ceil((s0 + (x + 1) * per - have.start) / have.width) - 1;
    if (end < i) end = i;
    if (i < 0) i = 0;
    if (end >= low.length) end = low.length - 1;
    let least = 32767;
    let most = MISSING;
    for (; i <= end; i++) {
      if (low[i] === MISSING) continue;
      if (low[i] < least) least = low[i];
      if (high[i] > most) most = high[i];
    }
    if (most === MISSING) {
      above = below = NaN;
      continue;
    }
    const top = zero + rise * most;
    const bottom = zero + rise * least;
    let from = Math.round((top > below ? below : top) - more);
    let until2 = Math.round((bottom < above ? above : bottom) + more);
    above = top;
    below = bottom;
    if (from < first) from = first;
    else if (from > last) from = last;
    if (until2 > last) until2 = last;
    else if (until2 < first) until2 = first;
    for (let at = from * width + x; from <= until2; from++, at += width) words[at] = colour;
  }
}
function stroke_samples(ctx, trace, have, s0, s1, band, to, colour, thick, width) {
  const first = Math.max(0, Math.floor(s0 - have.start) - 1);
  const last = Math.min(trace.low.length - 1, Math.ceil(s1 - have.start) + 1);
  ctx.save();
  ctx.beginPath();
  ctx.rect(0, band.top + 1, width, band.height - 2);
  ctx.clip();
  ctx.beginPath();
  let pen = false;
  for (let i = first; i <= last; i++) {
    if (trace.low[i] === MISSING) {
      pen = false;
      continue;
    }
    const x = (have.start + i - s0) / (s1 - s0) * width;
    const y = to.zero + (trace.low[i] * trace.scale + trace.offset) * to.rise;
    if (pen) ctx.lineTo(x, y);
    else ctx.moveTo(x, y);
    pen = true;
  }
  ctx.strokeStyle = colour;
  ctx.lineWidth = thick;
  ctx.lineJoin = "round";
  ctx.stroke();
  ctx.restore();
}
function missing_stretches(trace, have, s0, s1, width) {
  if (!trace.gaps) return [];
  const per = (s1 - s0) / width;
  const found = [];
  for (let x = 0; x < width; x++) {
    const i = Math.floor((s0 + (x + 0.5) * per - have.start) / have.width);
    if (i < 0 || i >= trace.low.length || trace.low[i] !== MISSING) continue;
    if (have.unread.some(([a, b]) => have.start + i * have.width >= a && have.start + i * have.width < b)) continue;
    const last = found.at(-1);
    if (last && last[1] === x) last[1] = x + 1;
    else found.push([
      x,
      x + 1
    ]);
  }
  return found;
}
function draw_outlines(ctx, paper, scene, width, height) {
  const { setup, have, range, theme, focus, font_px, rows } = scene;
  const colours = PALETTES[theme];
  const [s0, s1] = range.map((s) => s * setup.rate_hz);
  const px = (sample) => (sample - s0) / (s1 - s0) * width;
  const bands = lay_rows(setup.channels, height, font_px);
  const by_sample = have?.width === 1 && (s1 - s0) / width / paper.ratio < 1;
  const shown2 = ({ row }) => {
    const trace = have?.traces.get(row);
    return trace?.kind === rows[row].kind ? trace : null;
  };
  const colour_of = ({ row }) => colours[setup.channels[row].auxiliary ? "auxiliary" : TRACE_COLOURS[rows[row].kind]];
  const heights_of = (band) => heights(setup.channels[band.row], rows[band.row], band);
  paper.words.fill(0);
  if (have && !by_sample) {
    for (const band of bands) {
      const trace = shown2(band);
      const thick = rows[band.row].kind === "envelope" ? 1.6 : 1;
      if (trace) paint_columns(paper, trace, have, s0, s1, band, heights_of(band), pixel_of(colour_of(band)), thick);
    }
  }
  ctx.putImageData(paper.image, 0, 0);
  if (have && by_sample) {
    for (const band of bands) {
      const trace = shown2(band);
      const thick = rows[band.row].kind === "envelope" ? 1.8 : 1.2;
      if (trace) stroke_samples(ctx, trace, have, s0, s1, band, heights_of(band), colour_of(band), thick, width);
    }
  }
  ctx.font = `${font_px}px system-ui, sans-serif`;
  ctx.lineWidth = 1;
  ctx.strokeStyle = colours.grid;
  ctx.beginPath();
  for (const band of bands) {
    ctx.moveTo(0, Math.round(band.top) - 0.5);
    ctx.lineTo(width, Math.round(band.top) - 0.5);
  }
  ctx.stroke();
  const here = bands[focus];
  ctx.fillStyle = colours.here;
  ctx.fillRect(0, here.top, width, here.height);
  for (const band of bands) {
    if (!have) break;
    const trace = shown2(band);
    if (!trace) {
      plate(ctx, `loading ${rows[band.row].kind} \u2026`, width / 2, band.top + band.height / 2 + 4, colours, "center", colours.faint);
      continue;
    }
    for (const [a, b] of missing_stretches(trace, have, s0, s1, width)) {
      ctx.fillStyle = colours.away;
      ctx.fillRect(a, band.top + 1, b - a, band.height - 2);
      if (b - a > 6 * font_px) {
        plate(ctx, "missing", (a + b) / 2, band.top + band.height / 2 + 4, colours, "center", colours.faint);
      }
    }
  }
  const edge = [
    Math.max(0, px(0)),
    Math.min(width, px(setup.n_samples))
  ];
  const known = have ? [
    px(have.start),
    px(have.stop)
  ] : [
    edge[1],
    edge[1]
  ];
  const absent = [
    [
      edge[0],
      Math.min(known[0], edge[1])
    ],
    [
      Math.max(known[1], edge[0]),
      edge[1]
    ]
  ];
  if (!have) absent.pop();
  const loading = blank(ctx, absent, "loading \u2026", scene, width, height);
  const reading = blank(ctx, (have?.unread ?? []).map(([a, b]) => [
    px(a),
    px(b)
  ]), `reading the file, ${scene.share} % \u2026`, scene, width, height);
  return {
    loading: loading || !bands.every(shown2),
    reading
  };
}
function blank(ctx, stretches, words, { theme, font_px }, width, height) {
  const colours = PALETTES[theme];
  const head = head_px(font_px);
  let any = false;
  for (const [a, b] of stretches.map(([from, to]) => [
    Math.max(0, from),
    Math.min(width, to)
  ])) {
    if (b - a < 0.5) continue;
    any = true;
    ctx.fillStyle = colours.away;
    ctx.fillRect(a, head, b - a, height - head);
    if (b - a > ctx.measureText(words).width + 8) plate(ctx, words, (a + b) / 2, height / 2, colours, "center");
  }
  return any;
}

// long/over.js
var FOOT_SHARE = 0.35;
function draw_over(ctx, scene, feet, width, height) {
  const { setup, rows, range, theme, cursor_s, hover_s, font_px } = scene;
  const colours = PALETTES[theme];
  const [x0, x1] = range;
  const px = (s) => px_of(s, range, width);
  ctx.strokeStyle = colours.ink;
  ctx.lineWidth = 2;
  ctx.beginPath();
  for (const band of lay_rows(setup.channels, height, font_px)) {
    const { long } = scale_bar(heights(setup.channels[band.row], rows[band.row], band), band);
    const bottom = band.top + band.height / 2 + long / 2;
    ctx.moveTo(4, bottom);
    ctx.lineTo(4, bottom - long);
  }
  ctx.stroke();
  draw_markers(ctx, scene, px, width, height, colours);
  const line2 = (s, words, dash) => {
    if (s < x0 || s > x1) return;
    upright(ctx, px(s), head_px(font_px), height, {
      colour: colours.faint,
      dash
    });
    feet.push({
      x: Math.round(px(s)) + 0.5,
      words,
      ink: colours.ink
    });
  };
  line2(cursor_s, `cursor ${cursor_s.toFixed(3)} s`, []);
  if (hover_s != null) line2(hover_s, `${hover_s.toFixed(3)} s`, [
    1,
    2
  ]);
  write_feet(ctx, feet, width, height, font_px, colours);
}
function write_feet(ctx, feet, width, height, font_px, colours) {
  const lines = [];
  for (const { x, words: whole, ink } of feet.sort((a, b) => a.x - b.x)) {
    const words = cut_to(ctx, whole, FOOT_SHARE * width);
    const wide = width_of(ctx, words);
    const left = Math.min(x + 4, width - wide - 3);
    let line2 = lines.findIndex((end) => end < left - 4);
    if (line2 < 0) line2 = lines.length;
    lines[line2] = left + wide;
    plate(ctx, words, left, height - 5 - line2 * (font_px + 5), colours, "left", ink);
  }
}
function draw_markers(ctx, scene, px, width, height, colours) {
  const { setup: { markers }, range: [x0, x1], font_px } = scene;
  const head = head_px(font_px);
  const first = lower_bound(markers, x0);
  const last = lower_bound(markers, x1);
  const dense = last - first > width / 12;
  ctx.strokeStyle = colours.ink;
  ctx.lineWidth = 1;
  ctx.beginPath();
  for (let i = first; i < last; i++) {
    const x = Math.round(px(markers[i][0])) + 0.5;
    ctx.moveTo(x, dense ? head - 5 : 0);
    ctx.lineTo(x, dense ? head - 1 : height);
  }
  if (!dense) ctx.setLineDash([
    6,
    3
  ]);
  ctx.stroke();
  ctx.setLineDash([]);
  if (dense) return plate(ctx, `${last - first} markers in view`, width - 4, font_px, colours, "right", colours.faint);
  const ends = Array(head_lines(font_px)).fill(-Infinity);
  for (let i = first; i < last; i++) {
    const x = px(markers[i][0]);
    const line2 = ends.findIndex((end) => end < x);
    const words = line2 < 0 ? "" : cut_to(ctx, markers[i][1], Math.min(width - x - 6, FOOT_SHARE * width));
    if (!words) continue;
    plate(ctx, words, x + 3, line2 * (font_px + 4) + font_px + 2, colours);
    ends[line2] = x + width_of(ctx, words) + 10;
  }
}

// long/pointer.js
var STILL_PX = 3;
function listen_to_pointer(screen, setup, marks, view) {
  const { root, picture, ribbon } = screen;
  let dragging = null;
  function place(event) {
    const layer = view.layer();
    return layer && {
      ...place_of(event, layer, view.bands),
      range: layer.range()
    };
  }
  function on_down(event) {
    const at = place(event);
    if (!at?.inside || event.button !== 0) return;
    event.stopPropagation();
    event.preventDefault();
    if (screen.asking.keeps()) return;
    screen.asking.close();
    root.focus();
    picture.setPointerCapture(event.pointerId);
    if (at.band) view.take_channel(at.band.row);
    const { range, s_per_px, s } = at;
    if (!marks.down(at, event)) dragging = {
      x: event.clientX,
      range,
      s_per_px,
      s,
      far: false
    };
    view.refresh();
  }
  function on_move(event) {
    const at = place(event);
    if (!at) return;
    event.stopPropagation();
    if (marks.drag(at)) return view.refresh();
    if (dragging) {
      const by_px = dragging.x - event.clientX;
      dragging.far ||= Math.abs(by_px) >= STILL_PX;
      const by_s = by_px * dragging.s_per_px;
      if (dragging.far) view.show(dragging.range[0] + by_s, dragging.range[1] + by_s);
      return;
    }
    picture.style.cursor = at.inside && setup.decides && marks.edge_at(at) ? "ew-resize" : "";
    view.hover(at.inside ? at.s : null);
  }
  function on_up(event) {
    if (!dragging && !marks.up()) return;
    event.stopPropagation();
    if (dragging && !dragging.far) view.set_cursor(dragging.s);
    dragging = null;
    view.refresh();
  }
  function on_wheel(event) {
    if (root.dataset.keys !== "on") return;
    const at = place(event);
    if (!at?.inside) return;
    event.preventDefault();
    event.stopPropagation();
    const steps = Math.max(-4, Math.min(4, event.deltaY / (event.deltaMode ? 3 : 100)));
    if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
      view.shift((event.deltaX || event.deltaY) * at.s_per_px);
    } else view.zoom(2 ** (steps / 3), at.s);
  }
  picture.addEventListener("pointerdown", on_down, true);
  picture.addEventListener("pointermove", on_move, true);
  picture.addEventListener("pointerup", on_up, true);
  picture.addEventListener("pointercancel", on_up, true);
  picture.addEventListener("pointerleave", () => view.hover(null));
  picture.addEventListener("wheel", on_wheel, {
    capture: true,
    passive: false
  });
  let on_ribbon = false;
  const follow = (event) => view.centre(event.offsetX / ribbon.clientWidth * setup.duration_s);
  ribbon.addEventListener("pointerdown", (event) => {
    if (!view.layer() || event.button !== 0) return;
    event.preventDefault();
    root.focus();
    ribbon.setPointerCapture(event.pointerId);
    on_ribbon = true;
    follow(event);
  });
  ribbon.addEventListener("pointermove", (event) => on_ribbon && follow(event));
  const let_go = () => {
    on_ribbon = false;
  };
  ribbon.addEventListener("pointerup", let_go);
  ribbon.addEventListener("pointercancel", let_go);
}

// long/screen.js
var MOUSE = "drag to pan; wheel to zoom while the keys are on; click the ribbon to go there.";
var MOUSE_DECIDES = " Drag with Shift to select a stretch.";
function make_screen(setup, figure, act) {
  const mouse = MOUSE + (setup.decides ? MOUSE_DECIDES : "");
  const frame = make_frame(setup, act, () => root, {
    what: "view",
    mouse
  });
  const { asking, differs, foot, key_card, keys_on, live: live2, saved } = frame;
  const title = h("span", {
    class: "title",
    title: setup.title
  }, setup.title);
  const where = h("span", {
    class: "where"
  });
  const read_out = h("span", {
    class: "read-out"
  });
  saved.hidden = !setup.decides;
  saved.setAttribute("role", "status");
  const head = h("div", {
    class: "head"
  }, title, where, saved, keys_on, frame.card_button);
  const groups = button_groups(setup.keys, (key) => {
    const all = setup.keys.find(({ shift, code, group }) => shift && !key.shift && code === key.code && group === "All channels");
    const title2 = key.words + (all ? `; with Shift: ${all.words}` : "");
    return {
      title: title2,
      onclick: ({ shiftKey }) => act(shiftKey && all || key)
    };
  });
  const bar = h("div", {
    class: "bar"
  }, ...groups.values());
  const rows = setup.channels.map((channel, row) => make_row(channel, row, act));
  const gutter = h("div", {
    class: "gutter"
  }, ...rows.map((row) => row.element));
  const picture = h("div", {
    class: "picture"
  }, figure);
  const ribbon = h("canvas", {
    class: "ribbon",
    role: "img"
  });
  const root = h("div", {
    class: "emgreview long",
    tabindex: 0,
    role: "application",
    "aria-label": `long view of a recording; the key ${card_key(setup.keys)} shows the keys`
  }, head, frame.notes.element, bar, h("div", {
    class: "below-bar"
  }, read_out, differs), frame.notice.element, h("div", {
    class: "body"
  }, asking.form, gutter, picture), ribbon, h("div", {
    class: "foot"
  }, setup.ribbon_words), foot, live2, key_card.element);
  keep_keys(root, asking.form, key_card.element);
  function lay_gutter(bands, top) {
    for (const band of bands) {
      Object.assign(rows[band.row].element.style, {
        top: `${top + band.top}px`,
        height: `${band.height}px`
      });
    }
  }
  return {
    ...frame,
    root,
    picture,
    rows,
    ribbon,
    lay_gutter,
    where,
    read_out
  };
}
function make_row(channel, row, act) {
  const title = channel.label + (channel.over ? `, over ${channel.over}` : "");
  const label = brief(channel.label);
  const name = h("button", {
    class: "name",
    title,
    onclick: () => act({
      command: "channel",
      row
    })
  }, label);
  const shown2 = {
    class: "kind",
    title: "shown as; click for the next",
    onclick: () => act({
      command: "next_kind",
      row
    })
  };
  const kind = channel.auxiliary ? h("span", {
    class: "kind"
  }, "as recorded") : h("button", shown2);
  const gain = h("span", {
    class: "gain"
  });
  const scale = h("span", {
    class: "scale"
  });
  const level = h("div", {
    class: "level",
    title: channel.level_words ?? ""
  }, channel.level_words ?? "");
  const element = h("div", {
    class: "channel"
  }, h("div", {
    class: "line"
  }, name, gain), h("div", {
    class: "line"
  }, kind, scale), level);
  return {
    element,
    name,
    kind,
    gain,
    scale
  };
}

// long/state.js
var SHORTEST = 16;
function make_state(setup) {
  const { duration_s, rate_hz } = setup;
  const rows = setup.channels.map(({ auxiliary }) => ({
    kind: auxiliary ? "raw" : "band-passed",
    gain: 1
  }));
  const state = {
    rows,
    focus: 0,
    cursor_s: (setup.view_s[0] + setup.view_s[1]) / 2,
    hover_s: (
      /** @type {number | null} */
      null
    ),
    moved: 0,
    font_px: canvas_font_px(),
    said: "",
    layer: (
      /** @type {Layer | null} */
      null
    )
  };
  const shortest_s = SHORTEST / rate_hz;
  return Object.assign(state, {
    shortest_s,
    /** The time on the screen.
     * @returns {Span} */
    range: () => state.layer?.range() ?? setup.view_s,
    /** A time of the recording.
     * @param {number} s */
    inside: (s) => within(s, 0, duration_s - 1 / rate_hz),
    /** Show a stretch of time, as far as there is one.
     * @param {number} x0 @param {number} x1 */
    show(x0, x1) {
      const span = Math.min(duration_s, Math.max(shortest_s, x1 - x0));
      const start = Math.max(0, Math.min(duration_s - span, x0 + (x1 - x0 - span) / 2));
      state.moved = performance.now();
      state.layer?.set_range(start, start + span);
    }
  });
}

// long/loader.js
var WIDTHS_AROUND = 1.5;
var REFILL = 0.4;
var STILL_MS = 250;
var RETRY_MS = 1500;
function make_loader(model, setup, wire, host) {
  const { rate_hz, n_samples } = setup;
  let have = null;
  let ribbon = null;
  let share = Math.floor(setup.share * 100);
  let asks = 0;
  let asked = null;
  let answered = "";
  let failing = 0;
  let reading = false;
  function view_samples(layer) {
    const [x0, x1] = layer.range();
    return [
      Math.max(0, Math.floor(x0 * rate_hz)),
      Math.min(n_samples, Math.ceil(x1 * rate_hz))
    ];
  }
  function refill() {
    const layer = host.layer();
    if (!layer || asked) return;
    const [start, stop] = view_samples(layer);
    const span = stop - start;
    const width = Math.max(1, Math.floor(span / (layer.frame().width * (window.devicePixelRatio || 1))));
    const kinds = host.kinds();
    const same_kinds = have && kinds.every((kind, row) => have?.traces.get(row)?.kind === kind);
    const reach = REFILL * span;
    const covered = have && have.start <= Math.max(0, start - reach) && have.stop >= Math.min(n_samples, stop + reach);
    const unread = have?.unread.some(([a, b]) => a < stop && b > start);
    const fine = have && have.width <= Math.max(width, 1);
    if (same_kinds && covered && fine && !unread) return;
    const key = JSON.stringify([
      start,
      stop,
      width,
      kinds,
      have?.start,
      have?.stop,
      unread ? share : 0
    ]);
    if (key === answered) return;
    asks += 1;
    asked = {
      n: asks,
      key
    };
    const around = Math.round(WIDTHS_AROUND * span);
    wire.send("look", {
      n: asks,
      view: [
        start,
        stop
      ],
      want: [
        start - around,
        stop + around
      ],
      width,
      kinds
    });
  }
  function take_pack(name) {
    if (!model[name]?.byteLength) return null;
    const { head, fill } = unpack(model[name]);
    const traces = /* @__PURE__ */ new Map();
    for (const trace of head.traces) {
      const { samples } = fill(trace);
      const half = head.width === 1 ? samples.length : samples.length / 2;
      trace.low = samples.subarray(0, half);
      trace.high = head.width === 1 ? trace.low : samples.subarray(half);
      trace.gaps = trace.low.includes(MISSING);
      traces.set(trace.row, trace);
    }
    return {
      head,
      traces
    };
  }
  function on_stretch() {
    const pack = take_pack("stretch");
    if (!pack || pack.head.client !== wire.client) return;
    const { head, traces } = pack;
    have = {
      start: head.start,
      stop: head.stop,
      width: head.width,
      unread: head.unread,
      traces
    };
    for (const [row, limits] of Object.entries(head.limits)) setup.channels[Number(row)].limits = limits;
    if (failing) {
      failing = 0;
      host.last("");
    }
    if (asked && asked.n === head.n) {
      answered = asked.key;
      asked = null;
    }
    host.changed();
  }
  function on_ribbon() {
    const pack = take_pack("ribbon");
    if (!pack) return;
    ribbon = {
      width: pack.head.width,
      traces: pack.traces
    };
    host.ribbon_changed();
  }
  function read_on() {
    if (reading || asked || failing || share >= 100 || document.hidden || wire.stopped) return;
    if (host.still_ms() < STILL_MS) return;
    reading = true;
    const layer = host.layer();
    const [start, stop] = layer ? view_samples(layer) : [
      0,
      0
    ];
    wire.send("read", {
      near: Math.round((start + stop) / 2)
    });
  }
  wire.listen((what) => {
    if (what.share != null) share = Math.floor(what.share * 100);
    if (what.read?.client === wire.client) {
      reading = false;
      setTimeout(read_on, 0);
    }
    if (what.stopped === "") {
      asked = null;
      reading = false;
    }
    if (what.unread?.client === wire.client) {
      failing = performance.now();
      reading = false;
      if (asked) answered = asked.key;
      asked = null;
      host.last(what.unread.words);
    }
    refill();
  });
  for (const name of [
    "stretch",
    "ribbon"
  ]) model.properties[name].internal = true;
  model.on("stretch", on_stretch);
  model.on("ribbon", on_ribbon);
  return {
    refill,
    start: on_ribbon,
    get have() {
      return have;
    },
    get ribbon() {
      return ribbon;
    },
    get share() {
      return share;
    },
    get waits() {
      return Boolean(asked || reading);
    },
    /** Called a few times a second. */
    tick() {
      if (failing && performance.now() - failing > RETRY_MS) answered = "";
      refill();
      read_on();
    },
    close() {
      model.off?.("stretch", on_stretch);
      model.off?.("ribbon", on_ribbon);
    }
  };
}

// long/words.js
function clock(s) {
  const whole = Math.floor(s);
  const parts = [
    Math.floor(whole / 3600),
    Math.floor(whole / 60) % 60,
    whole % 60
  ];
  return parts.map((n) => String(n).padStart(2, "0")).join(":");
}
var gain_words = (gain) => gain >= 1 ? String(gain) : `1/${Math.round(1 / gain)}`;
function make_words(setup, state, screen, { marks, loader, wire }) {
  const { duration_s, rate_hz, channels } = setup;
  const { rows } = state;
  const shown_as = (row) => channels[row].auxiliary ? "as recorded" : rows[row].kind;
  function value_at(s) {
    const { have } = loader;
    const trace = have?.traces.get(state.focus);
    if (!have || !trace || trace.kind !== rows[state.focus].kind) return null;
    const i = Math.floor((s * rate_hz - have.start) / have.width + (have.width === 1 ? 0.5 : 0));
    if (i < 0 || i >= trace.low.length || trace.low[i] === MISSING) return null;
    const value = (v) => Number((v * trace.scale + trace.offset).toPrecision(3));
    const [low, high] = [
      value(trace.low[i]),
      value(trace.high[i])
    ];
    return low === high ? `${low}` : `${low} to ${high}`;
  }
  function read_out() {
    const { focus, hover_s, cursor_s } = state;
    const s = hover_s ?? cursor_s;
    const at = `${hover_s == null ? "cursor" : "pointer"} ${s.toFixed(4)} s`;
    const value = value_at(s);
    const { label, unit_label } = channels[focus];
    return value == null ? at : `${at} \xB7 ${brief(label, 60)}, ${shown_as(focus)}: ${value} ${brief(unit_label, 24)}`;
  }
  function write_labels({ top, height }) {
    const bands = lay_rows(channels, height, state.font_px);
    screen.lay_gutter(bands, top);
    channels.forEach((channel, row) => {
      const { element, name, kind, gain, scale } = screen.rows[row];
      const bar = scale_bar(heights(channel, rows[row], bands[row]), bands[row]);
      const unit = channel.unit_label === "arbitrary units" ? "(arbitrary)" : channel.unit_label;
      set_cut_text(scale, `${Number(bar.value.toPrecision(3))} ${unit}`);
      set_text(kind, shown_as(row));
      set_text(gain, rows[row].gain === 1 ? "" : `\xD7 ${gain_words(rows[row].gain)}`);
      name.setAttribute("aria-current", String(row === state.focus));
      element.dataset.here = String(row === state.focus);
    });
  }
  function write() {
    const { layer, focus, said } = state;
    if (!layer) return;
    const [x0, x1] = layer.range();
    const digits = x1 - x0 < 2 ? 3 : x1 - x0 < 100 ? 1 : 0;
    const span = `${x0.toFixed(digits)} to ${x1.toFixed(digits)} s`;
    set_text(screen.where, `${span} of ${duration_s.toFixed(0)} s (${clock(x0)})`);
    const held = marks.words(focus, state.hover_s ?? state.cursor_s);
    set_cut_text(screen.read_out, read_out() + (held ? ` \xB7 ${held}` : ""));
    write_labels(layer.frame());
    const other2 = rows.filter((row) => row.gain !== 1).length;
    screen.differs.hidden = !other2;
    const which = other2 === rows.length ? "all channels" : `${other2} of ${rows.length} channels`;
    set_text(screen.differs, `differs from the usual gain: ${which}`);
    const whole = `the whole recording, ${duration_s.toFixed(0)} s; shown is ${x0.toFixed(1)} to ${x1.toFixed(1)} s`;
    screen.ribbon.setAttribute("aria-label", whole);
    const told = [
      `${span}, ${brief(channels[focus].label)}, ${shown_as(focus)}`,
      said,
      held
    ];
    set_text(screen.live, told.filter(Boolean).map((words) => brief(words)).join(". "));
    show_saved(screen.root, screen.saved, wire);
  }
  function in_full() {
    const [x0, x1] = state.range();
    const { cards, status } = marks.shown;
    const names = channels.map(({ label, over, unit_label, level_words }) => [
      `${label}${over ? ` (over ${over})` : ""}, ${unit_label}`,
      level_words
    ].filter(Boolean).join(": "));
    const inside2 = setup.markers.filter(([s]) => s >= x0 && s <= x1).slice(0, 200);
    const near = cards.filter(({ cue_s }) => cue_s >= x0 && cue_s <= x1);
    const parts = [
      setup.title,
      ...names.map((name) => `Channel ${name}`),
      ...inside2.map(([s, words]) => `Marker at ${s.toFixed(3)} s: ${words}`),
      ...near.flatMap(({ cue, cue_s, none }) => none ? [
        `Cue ${cue} at ${cue_s.toFixed(3)} s is none: ${none}`
      ] : []),
      ...status.added.map(([s, words]) => `Added cue at ${s.toFixed(3)} s: ${words}`),
      ...status.aside.map(({ row, start_s, stop_s, words }) => `Set aside, ${channels[row].label}, ${start_s.toFixed(3)} to ${stop_s.toFixed(3)} s: ${words}`),
      setup.processing
    ];
    return parts.map((words) => shown(words)).join("\n");
  }
  return {
    write,
    in_full
  };
}

// long/long.js
var TICK_MS = 250;
var AFTER_MS = 60;
function render_long({ model, view }, setup) {
  const { rate_hz } = setup;
  const wire = make_wire(model, {
    still: " What is shown was read before; other stretches stay blank."
  });
  const state = make_state(setup);
  const screen = make_screen(setup, model.get_child("picture"), (action) => act(action, null));
  const { root, notice, asking } = screen;
  const moving = make_moving(setup, state, screen, refresh);
  const marks = make_marks(setup, {
    decide,
    asking,
    notice: notice.pass,
    go_to: moving.go_to,
    refresh,
    focus: () => state.focus,
    cursor: moving.seen_cursor,
    set_cursor: (s) => {
      state.cursor_s = s;
    },
    range: state.range
  });
  const loader = make_loader(model, setup, wire, {
    layer: () => state.layer,
    kinds: () => state.rows.map((row) => row.kind),
    still_ms: () => performance.now() - state.moved,
    changed: refresh,
    ribbon_changed: paint_ribbon,
    last: notice.last
  });
  const words = make_words(setup, state, screen, {
    marks,
    loader,
    wire
  });
  const commands = {
    ...moving.commands(marks),
    ...marks.commands,
    words: () => asking.tell("Every word of what is in view", words.in_full())
  };
  let paper = null;
  let later;
  function scene() {
    const { rows, focus, cursor_s, hover_s, font_px } = state;
    const { have, share } = loader;
    return {
      setup,
      rows,
      have,
      focus,
      share,
      cursor_s,
      hover_s,
      range: state.range(),
      theme: theme_of(root),
      font_px
    };
  }
  function paper_for(ctx, { width, height }, ratio) {
    if (paper?.image.width !== width || paper.image.height !== height) {
      const image = ctx.createImageData(width, height);
      paper = {
        image,
        words: new Uint32Array(image.data.buffer),
        width,
        ratio
      };
    }
    paper.ratio = ratio;
    return paper;
  }
  function draw(layer) {
    state.layer = layer;
    const began = performance.now();
    const ctx = context_of(layer.canvas, {
      willReadFrequently: true
    });
    const { width, height } = layer.frame();
    const ratio = window.devicePixelRatio || 1;
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    const now = scene();
    const absent = draw_outlines(ctx, paper_for(ctx, layer.canvas, ratio), now, width, height);
    const feet = draw_marks(ctx, marks.shown, now, width, height);
    draw_over(ctx, now, feet, width, height);
    root.dataset.painted = absent.loading ? "loading" : absent.reading ? "reading" : "whole";
    root.dataset.view = layer.range().join(" ");
    root.dataset.drawing = (performance.now() - began).toFixed(2);
    root.dataset.paints = String(Number(root.dataset.paints ?? 0) + 1);
    loader.refill();
    after_paint();
  }
  function after_paint() {
    if (later) return;
    later = setTimeout(() => {
      later = void 0;
      words.write();
      paint_ribbon();
    }, AFTER_MS);
  }
  function paint_ribbon() {
    const [width, height] = [
      screen.ribbon.clientWidth,
      screen.ribbon.clientHeight
    ];
    if (!state.layer || !width) return;
    const ctx = paper_of(screen.ribbon, {
      width,
      height
    });
    ctx.font = `${state.font_px}px system-ui, sans-serif`;
    draw_ribbon(ctx, scene(), loader.ribbon, width, height);
    if (setup.decides) draw_on_ribbon(ctx, marks.shown, scene(), width, height);
  }
  function refresh() {
    state.layer?.redraw();
    show_saved(root, screen.saved, wire);
    after_paint();
  }
  function decide(command, args) {
    const span_s = state.range().map((s) => Number(s.toFixed(4)));
    const visible = {
      span_s,
      gain: state.rows.map((row) => row.gain),
      shown: state.rows.map((row) => row.kind)
    };
    const taken = wire.decide({
      command,
      args,
      visible
    });
    if (!taken && wire.stopped) notice.pass(wire.stopped);
    return taken;
  }
  function act(action, pressed) {
    if (pressed && asking.key) return asking.key(pressed);
    if (pressed && screen.key_card.open) return screen.key_card.key(action, pressed);
    if (!pressed && asking.keeps()) return;
    asking.close();
    state.hover_s = null;
    if (!state.layer) return;
    const [x0, x1] = state.range();
    asking.form.dataset.side = state.cursor_s > (x0 + x1) / 2 ? "left" : "right";
    commands[action.command]?.(action);
  }
  listen_to_pointer(screen, setup, marks, {
    layer: () => state.layer,
    bands: (height) => lay_rows(setup.channels, height, state.font_px),
    show: state.show,
    shift: moving.shift,
    zoom: moving.zoom,
    refresh,
    take_channel: moving.face,
    set_cursor: (s) => {
      state.cursor_s = Math.round(s * rate_hz) / rate_hz;
    },
    hover: (s) => {
      if (s === state.hover_s) return;
      state.hover_s = s;
      state.layer?.redraw();
    },
    centre: (s) => {
      state.cursor_s = state.inside(s);
      moving.centre(s);
    }
  });
  wire.hold(() => marks.held + asking.unsent);
  wire.listen((what) => {
    show_saved(root, screen.saved, wire);
    if ("stopped" in what) notice.last(what.stopped);
    marks.take(what);
    if (what.trials || what.status) refresh();
    if (what.go_to?.client === wire.client) moving.go_to(what.go_to.s);
    if (what.said?.client === wire.client) notice.pass(what.said.words);
    if (what.unfit) notice.pass(what.unfit);
    if (what.refusal) notice.pass(`${what.refusal.doubt ? "Perhaps saved" : "Not taken"}: ${what.refusal.words}`);
    after_paint();
  });
  function fit() {
    state.font_px = canvas_font_px();
    const { layer, font_px } = state;
    if (!layer) return;
    layer.letters(font_px);
    const needed = layer.around() + head_px(font_px) + state.rows.length * least_row_px(font_px);
    layer.make_tall(fitting_height(root, setup.height, needed));
    refresh();
  }
  live(model, view, {
    root,
    keys_on: screen.keys_on,
    keys: setup.keys,
    every_ms: TICK_MS,
    act,
    draw,
    ready(layer) {
      state.layer = layer;
      fit();
    },
    dress: refresh,
    fit,
    tick(attentive) {
      wire.watch(attentive || loader.waits);
      loader.tick();
      if (canvas_font_px() !== state.font_px) fit();
      show_saved(root, screen.saved, wire);
    },
    leave: marks.flush,
    unsaved: () => wire.pending.length + wire.held > 0,
    close() {
      clearTimeout(later);
      marks.close();
      loader.close();
      wire.close();
    }
  });
  wire.insist("hello");
  loader.start();
  return root;
}

// people/axes.js
function round_ticks(low, high, most = 5) {
  if (!(high > low)) return [
    low
  ];
  for (let n = Math.max(1, most); n < 20; n *= 2) {
    const rough = (high - low) / n;
    const power = 10 ** Math.floor(Math.log10(rough));
    const step = ([
      1,
      2,
      5,
      10
    ].find((m) => m * power >= rough * (1 - 1e-9)) ?? 10) * power;
    const ticks = [];
    for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++) {
      ticks.push(Number((k * step).toPrecision(12)));
    }
    if (ticks.length > 1) return ticks;
  }
  return [
    low,
    high
  ];
}
function log_ticks(low, high) {
  const ticks = [];
  const few = Math.log10(high / low) < 2.2;
  for (let power = Math.floor(Math.log10(low)); power <= Math.ceil(Math.log10(high)); power++) {
    for (const m of few ? [
      1,
      2,
      5
    ] : [
      1
    ]) {
      const value = m * 10 ** power;
      if (value >= low * 0.999 && value <= high * 1.001) ticks.push(Number(value.toPrecision(6)));
    }
  }
  return ticks.length > 1 ? ticks : round_ticks(low, high, 4);
}
var plain = (value) => String(Number(value.toPrecision(4))).replace("-", "\u2212");
function extent(values, none, margin = 0.06) {
  let [low, high] = [
    Infinity,
    -Infinity
  ];
  for (const value of values) {
    if (!Number.isFinite(value)) continue;
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  if (low > high) return none;
  const more = (high - low) * margin || Math.abs(high) * margin || 1;
  return [
    low - more,
    high + more
  ];
}
function share_along({ low, high, log }, value) {
  if (log) return (Math.log(value) - Math.log(low)) / (Math.log(high) - Math.log(low));
  return (value - low) / (high - low);
}
function draw_axes(ctx, size, { x, y }, colours, font_px, { top = 0, right = 0 } = {}) {
  ctx.font = `${font_px}px system-ui, sans-serif`;
  const said = (axis) => axis.said ?? plain;
  const y_ticks = y.ticks ?? (y.log ? log_ticks(y.low, y.high) : round_ticks(y.low, y.high, 4));
  const widest = Math.max(...y_ticks.map((tick) => width_of(ctx, said(y)(tick))), 0);
  const left = Math.ceil(font_px * 1.5 + widest + 8);
  const box = {
    left,
    top: Math.ceil(0.6 * font_px + top),
    width: Math.max(10, size.width - left - Math.ceil(0.9 * font_px + right)),
    height: Math.max(10, size.height - Math.ceil(0.6 * font_px + top) - Math.ceil(2.9 * font_px))
  };
  const px = (value) => box.left + share_along(x, value) * box.width;
  const py = (value) => box.top + (1 - share_along(y, value)) * box.height;
  const bottom = box.top + box.height;
  ctx.strokeStyle = colours.grid;
  ctx.lineWidth = 1;
  ctx.fillStyle = colours.ink;
  ctx.textBaseline = "middle";
  ctx.textAlign = "right";
  for (const tick of y_ticks) {
    const at = Math.round(py(tick)) + 0.5;
    line(ctx, box.left, at, box.left + box.width, at);
    ctx.fillText(said(y)(tick), box.left - 4, at);
  }
  ctx.textAlign = "center";
  ctx.textBaseline = "top";
  const most = Math.max(2, Math.floor(box.width / (4.2 * font_px)));
  const x_ticks = x.ticks ?? (x.log ? log_ticks(x.low, x.high) : round_ticks(x.low, x.high, Math.min(6, most)));
  let written = -Infinity;
  for (const tick of x_ticks) {
    const at = Math.round(px(tick)) + 0.5;
    line(ctx, at, box.top, at, bottom);
    const words = said(x)(tick);
    const half = width_of(ctx, words) / 2;
    const middle = Math.min(at, size.width - half - 1);
    if (middle - half < written + 4) continue;
    ctx.fillText(words, middle, bottom + 3);
    written = middle + half;
  }
  ctx.strokeStyle = colours.faint;
  ctx.strokeRect(box.left + 0.5, box.top + 0.5, box.width, box.height);
  ctx.fillText(x.words, box.left + box.width / 2, bottom + 1.55 * font_px);
  ctx.save();
  ctx.translate(0.25 * font_px, box.top + box.height / 2);
  ctx.rotate(-Math.PI / 2);
  ctx.fillText(y.words, 0, 0);
  ctx.restore();
  ctx.textAlign = "left";
  ctx.textBaseline = "alphabetic";
  return {
    box,
    px,
    py
  };
}
function legend(ctx, x, looks, ink, font_px) {
  for (const { colour, dash, words, thick = 1.8 } of looks) {
    ctx.strokeStyle = colour;
    ctx.setLineDash(dash);
    ctx.lineWidth = thick;
    line(ctx, x, 0.9 * font_px, x + 1.8 * font_px, 0.9 * font_px);
    ctx.fillStyle = ink;
    ctx.fillText(words, x + 2.1 * font_px, 1.25 * font_px);
    x += 2.9 * font_px + ctx.measureText(words).width;
  }
  ctx.setLineDash([]);
  ctx.lineWidth = 1;
}
function line(ctx, x0, y0, x1, y1) {
  ctx.beginPath();
  ctx.moveTo(x0, y0);
  ctx.lineTo(x1, y1);
  ctx.stroke();
}
function inside(ctx, { left, top, width, height }, paint) {
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, top, width, height);
  ctx.clip();
  paint();
  ctx.restore();
}
function dot(ctx, x, y, radius, colour) {
  ctx.fillStyle = colour;
  ctx.beginPath();
  ctx.arc(x, y, radius, 0, 2 * Math.PI);
  ctx.fill();
}
function ring(ctx, x, y, colours, radius = 6) {
  ctx.strokeStyle = colours.ink;
  ctx.lineWidth = 2;
  ctx.beginPath();
  ctx.arc(x, y, radius, 0, 2 * Math.PI);
  ctx.stroke();
  ctx.lineWidth = 1;
}
var REACH_PX = 14;
function nearest_of(points) {
  return (x, y) => {
    let [best, least] = [
      /** @type {T | null} */
      null,
      REACH_PX ** 2
    ];
    for (const [px, py, what] of points) {
      const away = (px - x) ** 2 + (py - y) ** 2;
      if (away <= least) [best, least] = [
        what,
        away
      ];
    }
    return best;
  };
}

// people/group.js
function draw_spectra(ctx, size, { setup, colours, font_px, data, channel, unit }) {
  const { hz } = setup;
  const fits = unit === channel.unit;
  const band = fits ? channel.spectra_band : [];
  const seen = [
    ...data.spectra.flatMap((one) => [
      ...one
    ]),
    ...band.flat(2).map((v) => v ?? NaN)
  ];
  const [low, high] = extent(seen, [
    -40,
    40
  ]);
  const last = Math.max(...hz.filter((_, k) => data.spectra.some((one) => Number.isFinite(one[k]))), 20);
  const { box, px, py } = draw_axes(ctx, size, {
    x: {
      low: hz[0],
      high: last,
      log: true,
      words: "frequency (Hz)",
      ticks: [
        10,
        20,
        50,
        100,
        200,
        500,
        1e3
      ].filter((f) => f <= last)
    },
    y: {
      low: Math.max(low, high - 70),
      high,
      words: `power (dB re 1 ${unit}\xB2/Hz)`
    }
  }, colours, font_px, {
    top: 1.2 * font_px
  });
  const looks = [
    {
      colour: colours.faint,
      dash: [
        5,
        3
      ],
      words: "before the cue"
    },
    {
      colour: colours.accent,
      dash: [],
      words: "after it"
    }
  ];
  inside(ctx, box, () => {
    looks.forEach(({ colour, dash }, half) => {
      if (band[half]) {
        ctx.fillStyle = half ? colours.usual : colours.away;
        ctx.beginPath();
        for (const [quartile, way] of [
          [
            0,
            1
          ],
          [
            2,
            -1
          ]
        ]) {
          for (let j = 0; j < hz.length; j++) {
            const k = way > 0 ? j : hz.length - 1 - j;
            const value = band[half][quartile][k];
            if (value !== null) ctx.lineTo(px(hz[k]), py(value));
          }
        }
        ctx.fill();
      }
      ctx.strokeStyle = colour;
      ctx.lineWidth = 1.8;
      ctx.setLineDash(dash);
      ctx.beginPath();
      hz.forEach((f, k) => {
        if (Number.isFinite(data.spectra[half][k])) ctx.lineTo(px(f), py(data.spectra[half][k]));
      });
      ctx.stroke();
    });
  });
  ctx.setLineDash([]);
  ctx.lineWidth = 1;
  legend(ctx, box.left, looks, colours.ink, font_px);
  return {
    find: null,
    words: "Spectra of the unfiltered signal before and after the cue; bands: " + (fits ? "middle half of the group." : "left out, the group has another unit.")
  };
}
function rate_points({ n, none }) {
  const here = /* @__PURE__ */ new Map();
  return n.flatMap((of, person) => {
    if (!of) return [];
    const key = `${of} ${none[person]}`;
    const k = here.get(key) ?? 0;
    here.set(key, k + 1);
    return [
      /** @type {[number, number, number, number]} */
      [
        of,
        none[person] / of,
        (k % 2 ? -1 : 1) * Math.ceil(k / 2),
        person
      ]
    ];
  });
}
function draw_rates(ctx, size, { setup, colours, font_px, person, channel }) {
  const { rates } = channel;
  const points = rate_points(rates);
  const most = Math.max(0.1, ...points.map(([, share]) => share), 1.3 * (rates.rate ?? 0));
  const { places } = rates;
  const { box, px, py } = draw_axes(ctx, size, {
    x: {
      low: places[0] ?? 0,
      high: places[places.length - 1] ?? 1,
      words: "usable trials"
    },
    y: {
      low: -0.03 * most,
      high: 1.06 * most,
      words: "none found (%)",
      said: (v) => plain(100 * v)
    }
  }, colours, font_px, {
    top: 1.2 * font_px
  });
  const found = [];
  inside(ctx, box, () => {
    rates.limits.forEach((limits2, k) => {
      ctx.strokeStyle = colours.faint;
      ctx.setLineDash(k ? [] : [
        5,
        3
      ]);
      for (const side of limits2) {
        ctx.beginPath();
        side.forEach((count, at) => ctx.lineTo(px(places[at]), py(count / places[at])));
        ctx.stroke();
      }
    });
    ctx.setLineDash([]);
    if (rates.rate !== null) {
      ctx.strokeStyle = colours.accent;
      line(ctx, box.left, py(rates.rate), box.left + box.width, py(rates.rate));
    }
    const room = box.width / 2;
    for (const [n2, share, aside, who] of points) {
      const x = px(n2) + Math.max(-room, Math.min(room, 4.5 * aside));
      found.push([
        x,
        py(share),
        {
          person: who
        }
      ]);
      dot(ctx, x, py(share), 2.4, colours.accent);
    }
  });
  const limits = setup.chances.map((share, k) => ({
    colour: colours.faint,
    dash: k ? [] : [
      5,
      3
    ],
    words: `${plain(share)} %`,
    thick: 1
  }));
  legend(ctx, box.left, [
    {
      colour: colours.accent,
      dash: [],
      words: "all"
    },
    ...limits
  ], colours.ink, font_px);
  const own = found.find(([, , what]) => what.person === person);
  if (own) {
    dot(ctx, own[0], own[1], 3.2, colours.onset);
    ring(ctx, own[0], own[1], colours);
  }
  const [n, none] = [
    rates.n[person],
    rates.none[person]
  ];
  return {
    find: nearest_of(found),
    words: `Trials without a burst: ${none} of ${n} here, ${plain(100 * (rates.rate ?? NaN))} % in all. Limits by chance of ${setup.chances.map((share) => `${plain(share)} %`).join(" (broken) and ")} around that, by the exact binomial distribution.`
  };
}
function draw_matrix(ctx, size, { setup, colours, font_px, row, alike }) {
  const { labels, values } = alike;
  const n = labels.length;
  ctx.font = `${font_px}px system-ui, sans-serif`;
  const widest = Math.max(...labels.map((label) => ctx.measureText(label).width));
  const words_px = Math.min(widest, 0.24 * size.width);
  const left = words_px + 8;
  const top = 1.6 * font_px;
  const [wide, tall] = [
    (size.width - left - 6) / n,
    (size.height - top - 1.9 * font_px) / n
  ];
  const own = labels.indexOf(setup.labels[row]);
  ctx.textBaseline = "middle";
  labels.forEach((label, i) => {
    ctx.fillStyle = colours.ink;
    ctx.textAlign = "right";
    ctx.font = `${i === own ? "bold " : ""}${font_px}px system-ui, sans-serif`;
    ctx.fillText(cut_to(ctx, label, words_px), left - 4, top + (i + 0.5) * tall);
    ctx.textAlign = "center";
    ctx.fillText(cut_to(ctx, label, wide - 2, 1), left + (i + 0.5) * wide, 0.8 * font_px);
    for (let j = 0; j < n; j++) {
      const value = values[i * n + j];
      const [x, y] = [
        left + j * wide,
        top + i * tall
      ];
      ctx.strokeStyle = colours.grid;
      ctx.strokeRect(x + 0.5, y + 0.5, wide, tall);
      if (!Number.isFinite(value)) continue;
      if (i === j) continue;
      ctx.globalAlpha = Math.min(1, Math.abs(value)) * 0.85;
      ctx.fillStyle = value < 0 ? colours.onset : colours.accent;
      ctx.fillRect(x + 1, y + 1, wide - 1, tall - 1);
      ctx.globalAlpha = 1;
      ctx.fillStyle = Math.abs(value) > 0.5 ? colours.ground : colours.ink;
      ctx.textAlign = "center";
      ctx.font = `${font_px}px system-ui, sans-serif`;
      const words = value.toFixed(2).replace(/^-(?=0\.00)/, "").replace("-", "\u2212").replace(/0(?=\.)/, "");
      if (ctx.measureText(words).width < wide - 1) ctx.fillText(words, x + wide / 2, y + tall / 2);
    }
  });
  if (own >= 0) {
    ctx.strokeStyle = colours.onset;
    ctx.lineWidth = 2;
    ctx.strokeRect(left - 0.5, top + own * tall, n * wide + 1, tall + 1);
    ctx.lineWidth = 1;
  }
  ctx.textAlign = "left";
  ctx.textBaseline = "alphabetic";
  ctx.font = `${font_px}px system-ui, sans-serif`;
  ctx.fillStyle = colours.ink;
  let best = -1;
  for (let j = 0; j < n; j++) {
    if (own < 0 || j === own || !Number.isFinite(values[own * n + j])) continue;
    if (best < 0 || Math.abs(values[own * n + j]) > Math.abs(values[own * n + best])) best = j;
  }
  const most = best < 0 ? "" : `most alike: ${labels[best]}, ${plain(Number(values[own * n + best].toFixed(2)))}`;
  ctx.fillText(cut_to(ctx, most, size.width - 8), 4, size.height - 0.4 * font_px);
  return {
    find(x, y) {
      const at = Math.floor((y - top) / tall);
      return x > 0 && at >= 0 && at < n ? {
        row: setup.labels.indexOf(labels[at])
      } : null;
    },
    words: `Correlation of each two channels after the cue, at the same moment. ${most}`
  };
}

// people/heat.js
var STEPS2 = 256;
var HEATS = {
  light: [
    "#ffffff",
    "#9cc7e6",
    "#2f7fc1",
    "#0a3f75",
    "#02142b"
  ],
  dark: [
    "#16181c",
    "#173a5c",
    "#2f6ea6",
    "#7db8f0",
    "#f2f9ff"
  ]
};
function ramp(stops) {
  const parts = stops.map((stop) => [
    1,
    3,
    5
  ].map((at) => parseInt(stop.slice(at, at + 2), 16)));
  return Uint32Array.from({
    length: STEPS2
  }, (_, i) => {
    const at = i / (STEPS2 - 1) * (parts.length - 1);
    const k = Math.min(parts.length - 2, Math.floor(at));
    const [r, g, b] = parts[k].map((from, c) => Math.round(from + (at - k) * (parts[k + 1][c] - from)));
    return 255 << 24 | b << 16 | g << 8 | r;
  });
}
var step_of = (value, limit) => Math.max(0, Math.min(STEPS2 - 1, Math.round(value / limit * (STEPS2 - 1))));
var run_starts = (run) => run.flatMap((one, i) => i && one !== run[i - 1] ? [
  i
] : []);
function draw_heat(ctx, size, { setup, colours, heat, font_px, trial, named, data, unit }) {
  const { n, envelope, response, run } = data;
  const [start, stop] = setup.span_s;
  const limit = data.heat_limit ?? 1;
  const key_px = 1.7 * font_px;
  const { box, px } = draw_axes(ctx, size, {
    x: {
      low: start,
      high: stop,
      words: `time from ${setup.cue} (s)`
    },
    y: {
      low: n + 0.5,
      high: 0.5,
      words: "trial",
      ticks: trial_ticks(n),
      said: (v) => String(v)
    }
  }, colours, font_px, {
    top: key_px
  });
  const high = box.height / n;
  const wide = setup.bins;
  const image = new ImageData(wide, n);
  const pixels = new Uint32Array(image.data.buffer);
  const shades = ramp(heat);
  let missing2 = 0;
  for (let i = 0; i < pixels.length; i++) {
    const sample = envelope.samples[i];
    if (sample === MISSING) missing2 += 1;
    else pixels[i] = shades[step_of(sample * envelope.scale, limit)];
  }
  if (missing2) {
    hatch(ctx, {
      left: box.left,
      right: box.left + box.width,
      top: box.top,
      height: box.height
    }, colours.faint);
  }
  const paper = new OffscreenCanvas(wide, n);
  paper.getContext("2d")?.putImageData(image, 0, 0);
  ctx.imageSmoothingEnabled = false;
  ctx.drawImage(paper, box.left, box.top, box.width, box.height);
  const y = (i) => box.top + (i + 0.5) * high;
  inside(ctx, box, () => {
    ctx.strokeStyle = colours.onset;
    ctx.lineWidth = 1.5;
    line(ctx, px(0), box.top, px(0), box.top + box.height);
    ctx.strokeStyle = colours.ink;
    ctx.setLineDash([
      5,
      3
    ]);
    for (const at of run_starts(run)) {
      line(ctx, box.left, box.top + at * high, box.left + box.width, box.top + at * high);
    }
    ctx.setLineDash([]);
    const radius = Math.max(1.4, Math.min(3, high / 2));
    for (let i = 0; i < n; i++) {
      if (!Number.isFinite(response[i])) continue;
      dot(ctx, px(response[i]), y(i), radius + 1, colours.ground);
      dot(ctx, px(response[i]), y(i), radius, colours.onset);
    }
  });
  ctx.strokeStyle = colours.faint;
  ctx.lineWidth = 1;
  ctx.strokeRect(box.left + 0.5, box.top + 0.5, box.width, box.height);
  ctx.fillStyle = colours.ink;
  for (const i of named) {
    ctx.beginPath();
    for (const [dx, dy] of [
      [
        1,
        0
      ],
      [
        6,
        -3.5
      ],
      [
        6,
        3.5
      ]
    ]) ctx.lineTo(box.left + box.width + dx, y(i) + dy);
    ctx.fill();
  }
  if (trial !== null) frame_row(ctx, box, y(trial), Math.max(4, high), colours.onset);
  const most = `${plain(Number(limit.toPrecision(2)))} ${unit} and more`;
  draw_key(ctx, box, `0`, most, shades, font_px, colours.ink);
  return {
    find: (x, at) => row_at(x, at, box, high, n),
    words: `Envelope of all ${n} trials in order of time, one row each, without smoothing across trials; the last colour stands for ${most} (${setup.bright} % of values lie below); the line is the cue, dots are responses` + (run_starts(run).length ? ", broken lines part runs" : "") + (named.length ? `; ${named.length} trials that a flag names have a \u25C2 at their end.` : ".")
  };
}
function trial_ticks(n) {
  const step = [
    1,
    2,
    5,
    10,
    20,
    50,
    100,
    200
  ].find((one) => n / one <= 6) ?? 500;
  return [
    1,
    ...Array.from({
      length: Math.floor(n / step)
    }, (_, k) => (k + 1) * step).filter((v) => v > 1)
  ];
}
function row_at(x, y, box, high, n, trial = (row) => row) {
  const row = Math.floor((y - box.top) / high);
  return x >= box.left && x <= box.left + box.width && row >= 0 && row < n ? {
    trial: trial(row)
  } : null;
}
function frame_row(ctx, box, y, high, colour) {
  ctx.strokeStyle = colour;
  ctx.lineWidth = 2;
  ctx.strokeRect(box.left - 1, y - high / 2 - 1, box.width + 2, high + 2);
  ctx.lineWidth = 1;
}
function draw_key(ctx, box, none, most, shades, font_px, ink) {
  const wide = Math.min(80, box.width / 3);
  const words = width_of(ctx, most);
  const right = box.left + box.width - words - 4;
  const y = box.top - 1.2 * font_px;
  for (let i = 0; i < wide; i++) {
    const shade = shades[Math.round(i / (wide - 1) * (STEPS2 - 1))];
    ctx.fillStyle = `rgb(${shade & 255},${shade >> 8 & 255},${shade >> 16 & 255})`;
    ctx.fillRect(right - wide + i, y - 0.35 * font_px, 1.5, 0.7 * font_px);
  }
  ctx.strokeStyle = ctx.fillStyle = ink;
  ctx.strokeRect(right - wide - 0.5, y - 0.35 * font_px - 0.5, wide + 1, 0.7 * font_px + 1);
  ctx.textBaseline = "middle";
  ctx.fillText(most, right + 4, y);
  ctx.fillText(none, right - wide - 4 - width_of(ctx, none), y);
  ctx.textBaseline = "alphabetic";
}

// people/order.js
var FLAGGED = -1;
var STUDY = -2;
var NAMES = new Intl.Collator("en", {
  numeric: true
});
var missing = (value) => value === null || value === void 0 || value === "";
function people_order({ people, flags: flags2 }, { by, down, row }) {
  const order = people.map((_, i) => i);
  if (by === STUDY) return down ? order.reverse() : order;
  if (by === FLAGGED) {
    const last = Math.max(0, ...flags2.map(({ rank }) => rank)) + 1;
    const first = order.map(() => last);
    for (const { person, rank } of flags2) first[person] = Math.min(first[person], rank);
    return order.sort((a, b) => first[a] - first[b] || a - b);
  }
  const cell = (i) => people[i].cells[row]?.[by];
  return order.sort((a, b) => {
    const [x, y] = [
      cell(a),
      cell(b)
    ];
    if (missing(x) || missing(y)) return Number(missing(x)) - Number(missing(y)) || a - b;
    const way = typeof x === "number" && typeof y === "number" ? x - y : NAMES.compare(String(x), String(y));
    return (down ? -way : way) || a - b;
  });
}
function by_response(response) {
  const last = (i) => Number.isFinite(response[i]) ? response[i] : Infinity;
  return Array.from(response, (_, i) => i).sort((a, b) => {
    const [x, y] = [
      last(a),
      last(b)
    ];
    return x === y ? a - b : x - y;
  });
}
function stepped(list, from, by) {
  if (!list.length) return null;
  const at = from === null ? -1 : list.indexOf(from);
  if (at < 0) return by > 0 ? list[0] : list[list.length - 1];
  return list[Math.max(0, Math.min(list.length - 1, at + by))];
}
function flag_words(flags2) {
  const by = /* @__PURE__ */ new Map();
  for (const { code, channel } of flags2) by.set(code, [
    ...by.get(code) ?? [],
    ...channel ? [
      channel
    ] : []
  ]);
  return [
    ...by
  ].map(([code, channels]) => channels.length ? `${code} (${channels.join(", ")})` : code).join("; ");
}

// people/moving.js
function make_moving2(setup, state, screen, wire, host) {
  const { asking, notice } = screen;
  const { refresh } = host;
  function choose(person) {
    if (person === null) return;
    state.choose(person);
    refresh();
  }
  const step_person = (by) => choose(stepped(state.order, state.person, by));
  function step_flagged(by) {
    const at = state.order.indexOf(state.person);
    const rest = by > 0 ? state.order.slice(at + 1) : state.order.slice(0, at).reverse();
    const found = rest.find((i) => state.flagged.has(i));
    if (found === void 0) {
      return notice.pass(`Nobody ${by > 0 ? "after" : "before"} this one in the table has a flag.`);
    }
    const first = setup.flags.find(({ person, channel }) => person === found && channel);
    if (first) set_row(setup.labels.indexOf(first.channel));
    choose(found);
  }
  function set_row(row) {
    state.row = Math.max(0, Math.min(setup.labels.length - 1, row));
    if (state.sort.by >= 0) state.arrange();
  }
  function face(row) {
    if (row >= setup.labels.length) return notice.pass(`There are ${setup.labels.length} channels.`);
    set_row(row);
    refresh();
  }
  function sort(by, down) {
    state.sort = {
      by,
      down
    };
    state.arrange();
    refresh();
  }
  function sort_by(by) {
    const same = state.sort.by === by;
    sort(by, same ? !state.sort.down : by >= 0 && typeof setup.people[0].cells[state.row]?.[by] !== "string");
  }
  function step_trial(list, by, from = state.trial) {
    if (!host.here()) return notice.pass("The trials of this person are not here yet.");
    state.trial = stepped(list, from, by);
    refresh();
  }
  const in_time = () => Array.from({
    length: host.here()?.n ?? 0
  }, (_, i) => i);
  function step_page(by) {
    const per_page = host.per_page();
    const at = Math.floor(state.order.indexOf(state.person) / per_page) + by;
    if (at < 0 || at * per_page >= state.order.length) {
      return notice.pass(`There is no page ${by > 0 ? "after" : "before"} this one.`);
    }
    choose(state.order[at * per_page]);
  }
  function open() {
    const { person, row, trial } = state;
    if (trial === null) {
      return notice.pass("No trial is chosen: \u2192 steps through them, a click on a dot or row takes one.");
    }
    wire.send("open", {
      person,
      trial,
      channel: setup.labels[row]
    });
  }
  function go_unlike(k) {
    const one = setup.unlike[k];
    if (one.channel) set_row(setup.labels.indexOf(one.channel));
    choose(one.person);
  }
  const columns = [
    "study order",
    "flagged first",
    ...setup.columns.map(({ head, words }) => `${head}: ${words}`)
  ];
  const commands = {
    next_person: () => step_person(1),
    previous_person: () => step_person(-1),
    first_person: () => choose(state.order[0]),
    last_person: () => choose(state.order[state.order.length - 1]),
    next_flagged: () => step_flagged(1),
    previous_flagged: () => step_flagged(-1),
    go_to: () => asking.pick("Who?", setup.people.map(({ name }, i) => [
      name,
      screen.table.flags[i]
    ].filter(Boolean).join("  \u2691 ")), state.person, choose),
    unlike({ index }) {
      if (index !== void 0) return go_unlike(index);
      if (!setup.unlike.length) return notice.pass("Nobody can be told apart by numbers: there are too few people.");
      asking.pick("Most unlike the others, below every limit", setup.unlike.map(({ person, channel, code, reason }) => `${setup.people[person].name}${channel ? `, ${channel}` : ""}: ${code}. ${reason}`), 0, go_unlike);
    },
    rules: () => asking.tell("Rules behind the flags; a flag excludes nobody", setup.rules.join("\n") || "No rule was used."),
    sort: () => asking.pick("Sort by which column?", columns, state.sort.by - STUDY, (k) => sort_by(k + STUDY)),
    turn_round: () => sort(state.sort.by, !state.sort.down),
    flagged_first: () => sort(FLAGGED, false),
    next_page: () => step_page(1),
    previous_page: () => step_page(-1),
    next_channel: () => face((state.row + 1) % setup.labels.length),
    previous_channel: () => face((state.row + setup.labels.length - 1) % setup.labels.length),
    channel: ({ arguments: { number } }) => face(number - 1),
    own_scale() {
      state.own_scale = !state.own_scale;
      refresh();
    },
    next_trial: () => step_trial(in_time(), 1),
    previous_trial: () => step_trial(in_time(), -1),
    slower_trial: () => step_trial(host.by_response(), 1),
    faster_trial: () => step_trial(host.by_response(), -1),
    next_named() {
      const named = state.named();
      if (!named.length) return notice.pass("No flag of this person and channel names single trials.");
      step_trial([
        named.find((i) => i > (state.trial ?? -1)) ?? named[0]
      ], 1, null);
    },
    open,
    back: () => host.show_review(false),
    let_go() {
      state.trial = null;
      refresh();
    },
    words: () => asking.tell("Every word and number of this person", host.in_full()),
    key_card: () => screen.key_card.toggle()
  };
  return {
    commands,
    choose,
    sort_by,
    face,
    open
  };
}

// people/multiples.js
var LEAST_EM = [
  9.5,
  5.6
];
var ROOMY_EM = [
  16,
  9
];
function lay_panels({ width, height }, n, font_px) {
  const [wide, high] = [
    width - margin_px(font_px),
    height - foot_px(font_px)
  ];
  const fit = (room, em) => Math.max(1, Math.floor(room / (em * font_px)));
  const [most_across, most_down] = [
    fit(wide, LEAST_EM[0]),
    fit(high, LEAST_EM[1])
  ];
  let [across, down] = [
    Math.min(most_across, n),
    Math.min(most_down, Math.ceil(n / most_across))
  ];
  while (across > 1 && (across - 1) * down >= n && wide / across < ROOMY_EM[0] * font_px) across -= 1;
  while (down < most_down && across > 1 && Math.ceil(n / (down + 1)) < across && high / down > ROOMY_EM[1] * font_px) {
    down += 1;
    across = Math.ceil(n / down);
  }
  return {
    across,
    down,
    per_page: across * down,
    wide: wide / across,
    high: high / down
  };
}
var margin_px = (font_px) => Math.round(4.6 * font_px);
var foot_px = (font_px) => Math.round(2.9 * font_px);
function draw_multiples(ctx, size, scene) {
  const { setup, colours, font_px, channel, people, own_scale } = scene;
  const { across, wide, high, per_page, down } = lay_panels(size, setup.people.length, font_px);
  const [left, foot] = [
    margin_px(font_px),
    foot_px(font_px)
  ];
  ctx.font = `${font_px}px system-ui, sans-serif`;
  const head = 1.35 * font_px;
  const boxes = people.slice(0, per_page).map((who, k) => {
    const [x, y] = [
      left + k % across * wide,
      Math.floor(k / across) * high
    ];
    return [
      {
        left: x + 2,
        top: y + head,
        width: wide - 5,
        height: high - head - 3
      },
      who
    ];
  });
  for (const [box, who] of boxes) draw_panel(ctx, box, who, scene);
  ctx.fillStyle = colours.ink;
  ctx.textBaseline = "middle";
  ctx.textAlign = "right";
  const rows = Math.ceil(boxes.length / across);
  for (let k = 0; k < rows && !own_scale; k++) {
    const { top, height } = boxes[k * across][0];
    ctx.fillText(plain(Number(channel.top.toPrecision(2))), left - 4, top + y_of(channel.top, channel.top, height) + 1);
    ctx.fillText("0", left - 4, top + height - 2);
  }
  ctx.textAlign = "center";
  ctx.textBaseline = "top";
  const [start, stop] = setup.span_s;
  const ticks = [
    .../* @__PURE__ */ new Set([
      Math.ceil(start),
      0,
      Math.floor(stop)
    ])
  ].filter((s) => s >= start && s <= stop);
  for (let k = 0; k < Math.min(across, boxes.length); k++) {
    const below = boxes.filter((_, i) => i % across === k).at(-1)?.[0];
    if (!below) continue;
    for (const s of ticks) {
      ctx.fillText(plain(s), below.left + x_of(s, setup.span_s, below.width), below.top + below.height + 3);
    }
  }
  const bottom = Math.min(size.height - foot, rows * high);
  ctx.fillText(`time from ${setup.cue} (s)`, left + (size.width - left) / 2, bottom + 1.6 * font_px);
  ctx.save();
  ctx.translate(2, bottom / 2);
  ctx.rotate(-Math.PI / 2);
  ctx.fillText(own_scale ? "envelope, each on its own scale" : cut_to(ctx, `envelope (${channel.unit})`, bottom), 0, 0);
  ctx.restore();
  ctx.textAlign = "left";
  ctx.textBaseline = "alphabetic";
  return {
    boxes,
    find(x, y) {
      const found = boxes.find(([box]) => x >= box.left && x <= box.left + box.width && y >= box.top - head && y <= box.top + box.height);
      return found ? {
        person: found[1]
      } : null;
    },
    words: `Mean envelope of ${channel.label} of ${boxes.length} people with thin single trials, ${down} by ${across} panels` + (own_scale ? ", each on its own scale." : `, all from 0 to ${plain(channel.top)} ${channel.unit}; what goes beyond has a \u25B2.`)
  };
}
function draw_chosen(ctx, boxes, scene) {
  const { setup, colours, font_px, row, store, person, trial, data } = scene;
  const [box] = boxes.find(([, who]) => who === person) ?? [];
  if (!box) return;
  const head = 1.35 * font_px;
  ctx.strokeStyle = colours.onset;
  ctx.lineWidth = 2;
  ctx.strokeRect(box.left - 1, box.top - head + 1, box.width + 2, box.height + head);
  const mean = store.mean(person, row);
  if (trial !== null && data && mean) {
    ctx.save();
    ctx.beginPath();
    ctx.rect(box.left, box.top, box.width, box.height);
    ctx.clip();
    draw_curve(ctx, data.envelope, trial * setup.bins, setup.bins, box, box.width / setup.bins, top_of(mean, person, scene));
    ctx.restore();
  }
  ctx.lineWidth = 1;
}
function top_of(mean, who, { setup, channel, own_scale }) {
  const peak = mean.reduce((most, v) => v > most ? v : most, 0);
  return own_scale || setup.people[who].unit !== channel.unit ? 1.5 * peak || 1 : channel.top;
}
var x_of = (s, [start, stop], width) => (s - start) / (stop - start) * width;
var y_of = (value, top, height) => height * (1 - value / (1.06 * top));
function draw_panel(ctx, box, who, scene) {
  const { setup, colours, font_px, row, channel, store, flags: flags2 } = scene;
  const { left, top: above, width, height } = box;
  const somebody = setup.people[who];
  const mean = store.mean(who, row);
  const foreign = somebody.unit !== channel.unit;
  const { bins } = setup;
  ctx.fillStyle = colours.band;
  ctx.fillRect(left, above, width, height);
  ctx.textBaseline = "alphabetic";
  ctx.fillStyle = colours.ink;
  const name = cut_to(ctx, somebody.name, width);
  ctx.fillText(name, left, above - 0.35 * font_px);
  const beside = left + width_of(ctx, `${name} `);
  const said = [
    flags2[who] && `\u2691 ${flags2[who]}`,
    foreign && somebody.unit
  ].filter(Boolean).join(", ");
  ctx.fillText(cut_to(ctx, said, left + width - beside, 3), beside, above - 0.35 * font_px);
  if (!mean) {
    ctx.fillStyle = colours.faint;
    ctx.fillText(cut_to(ctx, "no such channel", width), left + 3, above + height / 2);
    return;
  }
  const peak = mean.reduce((most, v) => v > most ? v : most, 0);
  const top = top_of(mean, who, scene);
  const step = width / bins;
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, above, width, height);
  ctx.clip();
  ctx.strokeStyle = colours.grid;
  const zero = Math.round(left + x_of(0, setup.span_s, width)) + 0.5;
  line(ctx, zero, above, zero, above + height);
  const singles = store.singles(who, row);
  if (singles) {
    ctx.strokeStyle = colours.usual_line;
    ctx.lineWidth = 0.5;
    for (let from = 0; from < singles.samples.length; from += bins) draw_curve(ctx, singles, from, bins, box, step, top);
  }
  ctx.strokeStyle = colours.accent;
  ctx.lineWidth = 1.8;
  ctx.beginPath();
  mean.forEach((v, k) => {
    if (Number.isFinite(v)) ctx.lineTo(left + (k + 0.5) * step, above + y_of(v, top, height));
  });
  ctx.stroke();
  ctx.lineWidth = 1;
  ctx.restore();
  if (peak > 1.06 * top) {
    ctx.fillStyle = colours.ink;
    ctx.fillText("\u25B2", left + width - font_px, above + font_px);
  }
}
function draw_curve(ctx, { samples, scale }, from, bins, box, step, top) {
  ctx.beginPath();
  for (let k = 0; k < bins; k++) {
    const sample = samples[from + k];
    if (sample !== MISSING) ctx.lineTo(box.left + (k + 0.5) * step, box.top + y_of(sample * scale, top, box.height));
  }
  ctx.stroke();
}

// people/raster.js
var BEFORE_S = 0.3;
function draw_raster(ctx, size, { setup, colours, font_px, trial, data }) {
  const { n, onset, low, high, offset, response } = data;
  const order = by_response(response);
  const [start, stop] = [
    Math.max(setup.span_s[0], -BEFORE_S),
    setup.span_s[1]
  ];
  const { box, px } = draw_axes(ctx, size, {
    x: {
      low: start,
      high: stop,
      words: `time from ${setup.cue} (s)`
    },
    y: {
      low: n + 0.5,
      high: 0.5,
      words: "place by response",
      ticks: trial_ticks(n),
      said: (v) => String(v)
    }
  }, colours, font_px);
  const tall = box.height / n;
  const y = (place) => box.top + (place + 0.5) * tall;
  inside(ctx, box, () => {
    ctx.strokeStyle = colours.ink;
    ctx.lineWidth = 1.5;
    line(ctx, px(0), box.top, px(0), box.top + box.height);
    order.forEach((i, place) => {
      const at = y(place);
      if (Number.isFinite(onset[i])) {
        ctx.strokeStyle = colours.usual_line;
        ctx.lineWidth = 1;
        if (Number.isFinite(offset[i])) line(ctx, px(onset[i]), at, px(offset[i]), at);
        ctx.strokeStyle = colours.onset;
        if (high[i] - low[i] > 0.015) line(ctx, px(low[i]), at, px(high[i]), at);
        ctx.fillStyle = colours.onset;
        const half = Math.max(1.2, Math.min(4, tall / 2));
        ctx.fillRect(px(onset[i]) - 1.2, at - half, 2.4, 2 * half);
      }
      if (Number.isFinite(response[i])) {
        dot(ctx, px(response[i]), at, Math.max(1.3, Math.min(2.8, tall / 2)), colours.ink);
      }
    });
  });
  if (trial !== null) frame_row(ctx, box, y(order.indexOf(trial)), Math.max(4, tall), colours.onset);
  const found = Array.from(onset).filter(Number.isFinite).length;
  const answered = Array.from(response).filter(Number.isFinite).length;
  return {
    find: (x, at) => row_at(x, at, box, tall, n, (row) => order[row]),
    words: `Onsets of ${found} of ${n} trials as upright marks with a line to the offset, sorted by response; ${answered} responses as dots; the cue is at 0.`
  };
}

// people/scatters.js
function draw_dots(ctx, size, { colours, font_px, trial, data }, axes, values, under = () => {
}) {
  const place = draw_axes(ctx, size, axes, colours, font_px);
  const { box, px, py } = place;
  inside(ctx, box, () => under(place));
  const points = [];
  for (let i = 0; i < data.n; i++) {
    const [x, y] = values(i);
    if (!Number.isFinite(x) || !Number.isFinite(y)) continue;
    points.push([
      px(x),
      py(y),
      {
        trial: i
      }
    ]);
    dot(ctx, px(x), py(y), 2.4, colours.accent);
  }
  const chosen = points.find(([, , what]) => what.trial === trial);
  if (chosen) {
    dot(ctx, chosen[0], chosen[1], 3.2, colours.onset);
    ring(ctx, chosen[0], chosen[1], colours);
  }
  if (!points.length) {
    ctx.fillStyle = colours.faint;
    ctx.textAlign = "center";
    ctx.fillText("none", box.left + box.width / 2, box.top + box.height / 2);
    ctx.textAlign = "left";
  }
  return {
    find: nearest_of(points),
    n: points.length
  };
}
function log_extent(values, none) {
  const [low, high] = extent([
    ...values
  ].filter((v) => v > 0).map(Math.log10), none, 0.08);
  const [a, b] = high - low < 0.6 ? [
    low - (0.6 - high + low) / 2,
    high + (0.6 - high + low) / 2
  ] : [
    low,
    high
  ];
  return [
    10 ** a,
    10 ** b
  ];
}
function draw_rest(ctx, size, scene) {
  const { data, channel, colours, unit } = scene;
  const band = channel.rest_band.map((value) => value ?? NaN);
  const fits = unit === channel.unit && Number.isFinite(band[1]);
  const [low, high] = log_extent([
    ...data.rest,
    ...fits ? band : []
  ], [
    -1,
    1
  ]);
  const axes = {
    x: {
      low: 0.5,
      high: data.n + 0.5,
      words: "trial",
      ticks: trial_ticks(data.n)
    },
    y: {
      low,
      high,
      log: true,
      words: `rest (${unit} RMS)`
    }
  };
  const { find, n } = draw_dots(ctx, size, scene, axes, (i) => [
    i + 1,
    data.rest[i]
  ], ({ box, px, py }) => {
    if (fits) {
      ctx.fillStyle = colours.usual;
      ctx.fillRect(box.left, py(band[2]), box.width, py(band[0]) - py(band[2]));
      ctx.strokeStyle = colours.usual_line;
      line(ctx, box.left, py(band[1]), box.left + box.width, py(band[1]));
    }
    ctx.strokeStyle = colours.ink;
    ctx.setLineDash([
      5,
      3
    ]);
    for (const at of run_starts(data.run)) line(ctx, px(at + 0.5), box.top, px(at + 0.5), box.top + box.height);
    ctx.setLineDash([]);
  });
  const group = fits ? ` Band: middle half of the group, ${plain(band[0])} to ${plain(band[2])} ${unit}.` : "";
  return {
    find,
    words: `RMS at rest of ${n} trials in order of time, on a logarithmic axis.${group}`
  };
}
function draw_onset_response(ctx, size, scene) {
  const { data, colours, setup } = scene;
  const ms2 = (values) => Array.from(values, (s) => 1e3 * s);
  const [onset, response] = [
    ms2(data.onset),
    ms2(data.response)
  ];
  const [low, high] = extent([
    ...onset,
    ...response,
    0
  ], [
    0,
    1e3
  ]);
  const both = {
    low,
    high
  };
  const axes = {
    x: {
      ...both,
      words: `response (ms from ${setup.cue})`
    },
    y: {
      ...both,
      words: "onset (ms)"
    }
  };
  const { find, n } = draw_dots(ctx, size, scene, axes, (i) => [
    response[i],
    onset[i]
  ], ({ px, py }) => {
    ctx.fillStyle = colours.away;
    ctx.beginPath();
    for (const [x, y] of [
      [
        low,
        low
      ],
      [
        low,
        high
      ],
      [
        high,
        high
      ]
    ]) ctx.lineTo(px(x), py(y));
    ctx.fill();
    ctx.strokeStyle = colours.ink;
    line(ctx, px(low), py(low), px(high), py(high));
  });
  const later = onset.filter((s, i) => s >= response[i]).length;
  return {
    find,
    words: `Onset against response of ${n} trials. Above the diagonal the onset follows the response: ${later}.`
  };
}
function draw_onset_level(ctx, size, scene) {
  const { data } = scene;
  const onset = Array.from(data.onset, (s) => 1e3 * s);
  const [low, high] = extent([
    ...onset,
    0
  ], [
    0,
    1e3
  ]);
  const [least, most] = extent(data.level, [
    0,
    30
  ]);
  const axes = {
    x: {
      low: least,
      high: most,
      words: "level of the burst over rest (dB)"
    },
    y: {
      low,
      high,
      words: "onset (ms)"
    }
  };
  const { find, n } = draw_dots(ctx, size, scene, axes, (i) => [
    data.level[i],
    onset[i]
  ]);
  return {
    find,
    words: `Onset against the level of the burst over rest, ${n} trials.`
  };
}

// people/table.js
var ROOM_PX = 200;
var AT_ONCE = 40;
var AFTER_MS2 = 120;
function cell_words(value, { digits }) {
  if (value === null || value === void 0) return "n/a";
  return typeof value === "number" ? value.toFixed(digits).replace("-", "\u2212") : value;
}
function make_table(setup, act) {
  const heads = [
    {
      by: STUDY,
      head: "person",
      unit: "",
      words: "Participant and session, in the order of the study"
    },
    {
      by: FLAGGED,
      head: "flags",
      unit: "",
      words: "What is odd about the person, by which rule; flagged people first"
    },
    ...setup.columns.map(({ head, unit, words }, by) => ({
      by,
      head,
      unit,
      words
    }))
  ];
  const buttons = heads.map(({ by, head, words }) => h("button", {
    class: "head-cell",
    tabindex: -1,
    title: words,
    onclick: () => act.sort(by)
  }, head));
  const units = heads.map(() => h("span", {
    class: "unit"
  }));
  const head_cells = heads.map((_, k) => h("th", {
    scope: "col"
  }, buttons[k], units[k]));
  const body = h("tbody");
  const caption = h("caption");
  const table = h("table", {
    class: "people-table"
  }, caption, h("thead", {}, h("tr", {}, ...head_cells)), body);
  const element = h("div", {
    class: "table-box",
    role: "region",
    "aria-label": "table of people",
    tabindex: 0
  }, table);
  const flags2 = setup.people.map((_, i) => flag_words(setup.flags.filter(({ person }) => person === i)));
  const cells = [];
  const rows = setup.people.map(({ name }, i) => {
    const own = setup.columns.map(() => h("td"));
    cells.push(own);
    const words = flags2[i] ? h("td", {
      class: "flags",
      title: flags2[i]
    }, `\u2691 ${brief(flags2[i])}`) : h("td", {
      class: "flags none"
    }, "no flag");
    return h("tr", {
      onclick: () => act.choose(i)
    }, h("th", {
      scope: "row",
      title: name
    }, brief(name, 40)), words, ...own);
  });
  let later;
  function rows_seen() {
    const [top, bottom] = [
      element.scrollTop - ROOM_PX,
      element.scrollTop + element.clientHeight + ROOM_PX
    ];
    return rows.flatMap(({ offsetTop }, i) => offsetTop >= top && offsetTop <= bottom ? [
      i
    ] : []);
  }
  function fill_one(i, row, unit) {
    const { cells: values, unit: own } = setup.people[i];
    setup.columns.forEach((column, k) => {
      const value = values[row]?.[k];
      const cell = cells[i][k];
      const foreign = own !== unit && column.unit.startsWith("unit") && value !== null ? ` ${own}` : "";
      const text = brief(cell_words(value, column) + foreign, 60);
      if (cell.textContent !== text) cell.textContent = text;
      cell.className = value === null || value === void 0 ? "none" : typeof value === "string" ? "text" : "";
    });
  }
  return {
    element,
    flags: flags2,
    rows,
    /** The cells of a channel: those in view at once, the others soon after, so that no key waits for them.
     * @param {number} row */
    fill(row) {
      const { label, unit } = setup.channels[row];
      set_text(caption, `${setup.people.length} people's sessions \xB7 ${label} \xB7 ${setup.marks} marks`);
      heads.forEach(({ unit: said }, k) => set_text(units[k], said.replace("unit", unit)));
      const seen = rows_seen();
      seen.forEach((i) => fill_one(i, row, unit));
      clearTimeout(later);
      const rest = setup.people.map((_, i) => i).filter((i) => !seen.includes(i));
      const go_on = () => {
        for (const i of rest.splice(0, AT_ONCE)) fill_one(i, row, unit);
        if (rest.length) later = setTimeout(go_on, 0);
      };
      if (rest.length) later = setTimeout(go_on, AFTER_MS2);
    },
    /** @param {number[]} order @param {{by: number, down: boolean}} sort */
    order(order, { by, down }) {
      body.append(...order.map((i) => rows[i]));
      heads.forEach(({ by: own }, k) => {
        if (own === by) head_cells[k].setAttribute("aria-sort", down ? "descending" : "ascending");
        else head_cells[k].removeAttribute("aria-sort");
      });
    },
    /** @param {number} person */
    choose(person) {
      body.querySelector("[aria-current=true]")?.removeAttribute("aria-current");
      const row = rows[person];
      row.setAttribute("aria-current", "true");
      const head = table.tHead?.offsetHeight ?? 0;
      if (row.offsetTop < element.scrollTop + head) element.scrollTop = row.offsetTop - head;
      const below = row.offsetTop + row.offsetHeight - element.clientHeight;
      if (below > element.scrollTop) element.scrollTop = below;
    }
  };
}

// people/screen.js
var MOUSE2 = "click a row, a panel or a dot of the rates for a person; a row or dot of a trial for that trial, twice to open it; the head of a column to sort by it.";
var PICTURES = (
  /** @type {const} */
  [
    [
      "raster",
      "Onsets, sorted by response"
    ],
    [
      "heat",
      "All trials in order of time"
    ],
    [
      "rest",
      "Rest over the session"
    ],
    [
      "spectra",
      "Spectra and the group's band"
    ],
    [
      "onset_response",
      "Onset against response"
    ],
    [
      "onset_level",
      "Onset against level"
    ],
    [
      "matrix",
      "Channels against channels"
    ],
    [
      "rates",
      "None found, and limits by chance"
    ]
  ]
);
function make_screen2(setup, review, on) {
  const frame = make_frame({
    ...setup,
    processing: ""
  }, on.act, () => root, {
    what: "screen",
    mouse: MOUSE2
  });
  const { asking, key_card, keys_on, live: live2 } = frame;
  const title = h("span", {
    class: "title"
  });
  const head = h("div", {
    class: "head"
  }, title, keys_on, frame.card_button);
  const channels = setup.labels.map((label, k) => h("button", {
    class: "do channel-button",
    title: label,
    onclick: () => on.act({
      command: "channel",
      arguments: {
        number: k + 1
      }
    })
  }, label));
  const groups = button_groups(setup.keys, (key) => ({
    title: key.words,
    onclick: () => on.act(key)
  }));
  const bar = h("div", {
    class: "bar"
  }, ...groups.values());
  const channel_bar = h("div", {
    class: "buttons",
    role: "group",
    "aria-label": "channel"
  }, ...channels);
  const table = make_table(setup, on);
  const small = make_picture("multiples", "Everybody");
  const who = h("h4", {
    class: "who"
  });
  const reasons = h("ul", {
    class: "reasons",
    tabindex: 0,
    "aria-label": "flags and their reasons"
  });
  const trial = h("div", {
    class: "trial-words",
    role: "status"
  });
  const unlike = h("ol", {
    class: "unlike"
  }, ...setup.unlike.map((one, k) => h("li", {}, h("button", {
    class: "plain",
    title: one.reason,
    onclick: () => on.act({
      command: "unlike",
      index: k
    })
  }, `${setup.people[one.person].name}${one.channel ? `, ${one.channel}` : ""}: ${one.code}`), ` ${Math.abs(one.value ?? NaN).toFixed(1)} SD, limit ${one.limit?.toFixed(1)}`)));
  const rest = h("div", {
    class: "beside"
  }, h("h4", {}, "Most unlike the others, below every limit"), setup.unlike.length ? unlike : h("p", {}, "nobody can be told apart by numbers"));
  const pictures = PICTURES.map(([id, name]) => make_picture(id, name));
  const grid = h("div", {
    class: "pictures"
  }, ...pictures.map(({ element: element2 }) => element2));
  const root = h("div", {
    class: "emgreview people",
    tabindex: 0,
    role: "application",
    "aria-label": `people of a study; the key ${card_key(setup.keys)} shows the keys`
  }, head, frame.notes.element, bar, channel_bar, frame.notice.element, h("div", {
    class: "body"
  }, asking.form, h("div", {
    class: "people-side"
  }, table.element), small.element), h("div", {
    class: "words"
  }, h("div", {
    class: "somebody"
  }, who, reasons, trial), rest), grid, live2, key_card.element);
  keep_keys(root, asking.form, key_card.element);
  const back = setup.keys.find(({ command }) => command === "back");
  const return_button = h("button", {
    class: "do",
    onclick: () => on.act({
      command: "back"
    })
  }, h("kbd", {}, key_name(back ?? {
    code: ""
  })), " back to the people");
  const shown2 = h("span", {
    class: "title"
  });
  const opened = review && h("div", {
    class: "opened",
    "data-open": "no"
  }, h("div", {
    class: "emgreview return"
  }, return_button, shown2), review);
  const element = h("div", {
    class: "people-frame"
  }, root, opened);
  for (const { canvas, finder } of [
    small,
    ...pictures
  ]) {
    const at = (event) => finder.find?.(event.offsetX, event.offsetY) ?? null;
    canvas.addEventListener("click", (event) => {
      root.focus();
      const what = at(event);
      if (what) on.hit(what, event.detail > 1);
    });
    canvas.addEventListener("mousemove", (event) => {
      canvas.style.cursor = at(event) ? "pointer" : "";
    });
  }
  return {
    ...frame,
    root,
    element,
    opened,
    shown: shown2,
    title,
    table,
    channels,
    small,
    pictures,
    who,
    reasons,
    trial,
    grid,
    bar
  };
}
function make_picture(id, name) {
  const canvas = h("canvas", {
    role: "img",
    "aria-label": name,
    "data-picture": id
  });
  const caption = h("figcaption", {}, name);
  const element = h("figure", {
    class: `picture-box ${id}`
  }, caption, canvas);
  return {
    id,
    name,
    canvas,
    caption,
    element,
    finder: {
      find: (
        /** @type {Find | null} */
        null
      )
    }
  };
}

// people/state.js
function make_state2(setup) {
  const flagged = new Set(setup.flags.map(({ person }) => person));
  const state = {
    row: 0,
    sort: {
      by: FLAGGED,
      down: false
    },
    order: (
      /** @type {number[]} */
      []
    ),
    person: 0,
    trial: (
      /** @type {number | null} */
      null
    ),
    own_scale: false,
    opened: false,
    flagged,
    /** Order the people anew. */
    arrange() {
      state.order = people_order(setup, {
        ...state.sort,
        row: state.row
      });
    },
    /** Trials of the chosen person that flags of the chosen channel, or of the person, name. */
    named() {
      const own = setup.flags.filter(({ person, channel }) => person === state.person && (!channel || channel === setup.labels[state.row]));
      return [
        ...new Set(own.flatMap(({ trials }) => trials))
      ].sort((a, b) => a - b);
    },
    /** Somebody, and none of their trials.
     * @param {number} person */
    choose(person) {
      if (person !== state.person) state.trial = null;
      state.person = person;
    },
    /** People of the page on which somebody stands, by how many there are on one.
     * @param {number} per_page */
    page(per_page) {
      const at = Math.floor(state.order.indexOf(state.person) / per_page);
      return {
        at,
        n: Math.ceil(state.order.length / per_page),
        people: state.people_of(at, per_page)
      };
    },
    /** People of a page; nobody where there is none.
     * @param {number} at @param {number} per_page */
    people_of: (at, per_page) => at < 0 ? [] : state.order.slice(at * per_page, (at + 1) * per_page)
  };
  state.arrange();
  state.person = state.order[0];
  const first = setup.flags.find(({ person, channel }) => person === state.person && channel);
  if (first) state.row = setup.labels.indexOf(first.channel);
  return state;
}

// people/store.js
var AGAIN_MS2 = 1500;
var AT_ONCE2 = 6;
var MOST_VALUES = 4e7;
function values_of({ samples, scale }, from = 0, n = samples.length) {
  const out = new Float64Array(n);
  for (let i = 0; i < n; i++) out[i] = samples[from + i] === MISSING ? NaN : samples[from + i] * scale;
  return out;
}
function make_store(model, setup, wire, came) {
  const { bins, labels, hz } = setup;
  const packs = /* @__PURE__ */ new Map();
  const trials = /* @__PURE__ */ new Map();
  const singles = /* @__PURE__ */ new Map();
  const asked = /* @__PURE__ */ new Map();
  let means = [];
  const values_each = bins * labels.length * Math.max(1, ...setup.people.map(({ n }) => n));
  function take_overview() {
    if (!model.overview?.byteLength) return;
    const { head, fill } = unpack(model.overview);
    means = head.people.map(fill);
    came(means.map((_, i) => i));
  }
  function take_pack() {
    if (!model.pack?.byteLength) return;
    const { head, fill } = unpack(model.pack);
    for (const pack of head.people ?? []) {
      Object.values(pack.traces).forEach(fill);
      packs.set(pack.person, pack);
    }
    for (const panel of head.panels ?? []) singles.set(`${panel.person} ${head.row}`, fill(panel));
    came((head.people ?? []).map(({ person }) => person), head.row);
  }
  function ask(kind, people, name, more) {
    const now = performance.now();
    const lacking = people.filter((i) => now - (asked.get(name(i)) ?? -Infinity) > AGAIN_MS2);
    if (!lacking.length) return;
    for (const i of lacking) asked.set(name(i), now);
    wire.send(kind, {
      people: lacking,
      ...more
    });
  }
  for (const name of [
    "overview",
    "pack"
  ]) model.properties[name].internal = true;
  model.on("overview", take_overview);
  model.on("pack", take_pack);
  take_overview();
  return {
    /** The mean envelope of somebody's channel; null where there is none.
     * @param {number} person @param {number} row */
    mean(person, row) {
      const one = means[person];
      const place = one?.labels.indexOf(labels[row]) ?? -1;
      return place < 0 ? null : values_of(one, place * bins, bins);
    },
    /** Single trials behind it, as far as they are here.
     * @param {number} person @param {number} row */
    singles: (person, row) => singles.get(`${person} ${row}`),
    /** Somebody's trials on a channel: undefined while they are not here, null where the channel is none of theirs.
     * @param {number} person @param {number} row
     * @returns {Trials | null | undefined} */
    trials(person, row) {
      const key = `${person} ${row}`;
      const pack = packs.get(person);
      if (!pack) return void 0;
      if (!trials.has(key)) trials.set(key, trials_of(pack, labels[row], bins, hz.length));
      return trials.get(key);
    },
    /** Correlations of somebody's channels, and their labels.
     * @param {number} person */
    alike(person) {
      const pack = packs.get(person);
      return pack && {
        labels: pack.labels,
        values: values_of(pack.traces.alike)
      };
    },
    /** Ask for people's trials.
     * @param {number[]} people */
    want(people) {
      ask("person", people.filter((i) => !packs.has(i)), (i) => `p ${i}`, {});
    },
    /** Ask for the trials of further people, those nearest in the table first, while nothing else is on its way: so
     * that no choice waits for Python.
     * @param {number[]} order @param {number} at */
    want_ahead(order, at) {
      const now = performance.now();
      const waiting = [
        ...asked
      ].some(([name, when]) => name.startsWith("p ") && now - when < AGAIN_MS2 && !packs.has(Number(name.slice(2))));
      if (waiting || packs.size * values_each > MOST_VALUES) return;
      const lacking = order.map((i, place) => ({
        i,
        away: Math.abs(place - at)
      })).filter(({ i }) => !packs.has(i));
      const near = lacking.sort((a, b) => a.away - b.away).slice(0, AT_ONCE2).map(({ i }) => i);
      ask("person", near, (i) => `p ${i}`, {});
    },
    /** Ask for single trials of a page of people.
     * @param {number[]} people @param {number} row */
    want_singles(people, row) {
      const have = setup.people;
      const lacking = people.filter((i) => have[i].cells[row] && !singles.has(`${i} ${row}`));
      ask("panels", lacking, (i) => `s ${i} ${row}`, {
        channel: labels[row]
      });
    },
    close() {
      model.off?.("overview", take_overview);
      model.off?.("pack", take_pack);
    }
  };
}
function trials_of(pack, label, bins, n_hz) {
  const place = pack.labels.indexOf(label);
  if (place < 0) return null;
  const { traces, ids } = pack;
  const n = ids.length;
  const row = (name) => values_of(traces[name], place * n, n);
  const { samples, scale } = traces.envelope;
  const spectrum = (half) => values_of(traces.spectra, (half * pack.labels.length + place) * n_hz, n_hz);
  return {
    n,
    onset: row("onset"),
    low: row("low"),
    high: row("high"),
    offset: row("offset"),
    level: row("level"),
    rest: row("rest").map((power) => 10 ** power),
    response: values_of(traces.response),
    run: pack.run,
    ids,
    signal: pack.signal[place],
    reviewed: pack.reviewed[place],
    none: pack.none[place],
    envelope: {
      samples: samples.subarray(place * n * bins, (place + 1) * n * bins),
      scale
    },
    heat_limit: pack.heat_limit[place],
    spectra: [
      spectrum(0),
      spectrum(1)
    ]
  };
}

// people/words.js
var ms = (s) => Number.isFinite(s) ? `${plain(Number((1e3 * s).toFixed(0)))} ms` : "n/a";
function trial_words(data, i, { signals }, unit, runs) {
  const run = runs.length > 1 ? `, run ${data.run[i] + 1} of ${runs.length}` : "";
  const range = Number.isFinite(data.low[i]) ? ` (${ms(data.low[i])} to ${ms(data.high[i])})` : "";
  const onset = Number.isFinite(data.onset[i]) ? `onset ${ms(data.onset[i])}${range}` : "no burst found";
  const state = [
    data.signal[i] ? signals[data.signal[i]] : "",
    data.none[i] ? "reviewed: none" : data.reviewed[i] ? "reviewed" : ""
  ].filter(Boolean).join(", ");
  const level = Number.isFinite(data.level[i]) ? `${data.level[i].toFixed(1).replace("-", "\u2212")} dB over rest` : "n/a";
  const rest = Number.isFinite(data.rest[i]) ? `${Number(data.rest[i].toPrecision(3))} ${unit}` : "n/a";
  return `Trial ${i + 1} of ${data.n}${run}: ${onset}, offset ${ms(data.offset[i])}, response ${ms(data.response[i])}, level ${level}, rest ${rest}${state ? ` \xB7 ${state}` : ""} \xB7 ${runs[data.run[i]]}${data.ids[i]}`;
}
function make_words2(setup, state, screen, store) {
  const flags2 = setup.people.map((_, i) => setup.flags.filter(({ person }) => person === i));
  let somebody = -1;
  const here = () => store.trials(state.person, state.row);
  function write() {
    const { person, row, trial } = state;
    const one = setup.people[person];
    const label = setup.labels[row];
    set_cut_text(screen.title, `${one.name} \xB7 ${label} \xB7 ${setup.people.length} people, ${state.flagged.size} with a flag`);
    screen.channels.forEach((button, k) => button.setAttribute("aria-pressed", String(k === row)));
    if (somebody !== person) {
      somebody = person;
      const kinds = {
        physical: "by a physical rule",
        "unlike the others": "unlike the others"
      };
      set_text(screen.who, `${one.name}: ${flags2[person].length ? "why" : "no flag"}`);
      screen.reasons.replaceChildren(...flags2[person].map(({ code, channel, reason, kind, trials }) => h("li", {}, h("b", {}, `\u2691 ${code}${channel ? `, ${channel}` : ""}`), ` ${reason}`, h("span", {
        class: "kind"
      }, ` (${kinds[
        /** @type {keyof kinds} */
        kind
      ] ?? kind}${trials.length ? `; ${trials.length} trials` : ""})`))));
    }
    const data = here();
    const none = data ? `${data.n} trials; \u2192 steps through them, a click on a dot or row takes one.` : "";
    const said = data && trial !== null ? trial_words(data, trial, setup, one.unit, one.runs) : none;
    set_text(screen.trial, data === null ? `${one.name} has no channel ${label}.` : said || "loading");
    const flagged = flags2[person].length ? screen.table.flags[person] : "no flag";
    set_text(screen.live, [
      one.name,
      label,
      flagged,
      trial === null ? "" : said
    ].filter(Boolean).map((words) => brief(words)).join(". "));
  }
  function in_full() {
    const { person, row } = state;
    const one = setup.people[person];
    const data = here();
    const numbers = setup.columns.map((column, k) => {
      const unit = column.unit.replace("unit", one.unit);
      return `${column.words}: ${cell_words(one.cells[row]?.[k], column)}${unit ? ` ${unit}` : ""}`;
    });
    const parts = [
      `${one.name}, ${setup.labels[row]}`,
      ...one.runs.map((name, k) => `Recording ${k + 1}: ${name}`),
      ...flags2[person].map(({ code, channel, reason }) => `\u2691 ${code}${channel ? `, ${channel}` : ""}: ${reason}`),
      ...numbers,
      ...data && state.trial !== null ? [
        trial_words(data, state.trial, setup, one.unit, one.runs)
      ] : [],
      ...screen.pictures.map(({ name, canvas }) => `${name}: ${canvas.getAttribute("aria-label")}`)
    ];
    return parts.map((words) => shown(words)).join("\n");
  }
  return {
    write,
    in_full,
    here,
    order: () => by_response(here()?.response ?? [])
  };
}

// people/people.js
var TICK_MS2 = 250;
var AHEAD = 3;
var PAINTS = {
  raster: draw_raster,
  heat: draw_heat,
  rest: draw_rest,
  spectra: draw_spectra,
  onset_response: draw_onset_response,
  onset_level: draw_onset_level,
  matrix: draw_matrix,
  rates: draw_rates
};
function render_people({ model, view }, setup) {
  let ready = false;
  let [filled, ordered] = [
    -1,
    ""
  ];
  let everybody = {
    canvas: document.createElement("canvas"),
    key: "",
    find: null,
    said: "",
    boxes: []
  };
  const wire = make_wire(model, {
    still: " What is shown was sent before."
  });
  const state = make_state2(setup);
  const store = make_store(model, setup, wire, (people, row) => {
    if (people.includes(state.person) || row === state.row) refresh();
  });
  const screen = make_screen2(setup, setup.within ? model.get_child("opened") : null, {
    act: (action) => act(action, null),
    sort: (by) => moving.sort_by(by),
    choose: (person) => moving.choose(person),
    hit
  });
  const { root, asking, notice, table } = screen;
  const words = make_words2(setup, state, screen, store);
  const moving = make_moving2(setup, state, screen, wire, {
    refresh,
    per_page: () => panels().per_page,
    here: words.here,
    by_response: words.order,
    in_full: words.in_full,
    show_review
  });
  const size_of = (canvas) => ({
    width: canvas.clientWidth,
    height: canvas.clientHeight
  });
  const panels = () => lay_panels(size_of(screen.small.canvas), setup.people.length, canvas_font_px());
  function hit(what, twice) {
    if (asking.keeps()) return;
    asking.close();
    if (what.person !== void 0) return moving.choose(what.person);
    if (what.row !== void 0) return moving.face(what.row);
    state.trial = what.trial ?? null;
    refresh();
    if (twice) moving.open();
  }
  function write_table() {
    const how = JSON.stringify(state.sort);
    if (how !== ordered || filled !== state.row && state.sort.by >= 0) table.order(state.order, state.sort);
    if (filled !== state.row) table.fill(state.row);
    [filled, ordered] = [
      state.row,
      how
    ];
    table.choose(state.person);
  }
  function paint_small(width) {
    const { small } = screen;
    const page = state.page(panels().per_page);
    const size = size_of(small.canvas);
    if (width < 50) return;
    store.want_singles(page.people, state.row);
    const { row, own_scale } = state;
    const theme = theme_of(root);
    const font_px = canvas_font_px();
    const channel = setup.channels[row];
    const { people } = page;
    const scene = {
      setup,
      colours: PALETTES[theme],
      font_px,
      row,
      channel,
      people,
      own_scale,
      store,
      flags: table.flags
    };
    const here = people.filter((i) => store.singles(i, row)).length;
    const key = JSON.stringify([
      size,
      window.devicePixelRatio,
      theme,
      font_px,
      row,
      people,
      own_scale,
      here
    ]);
    if (key !== everybody.key) {
      const { find, words: said, boxes } = draw_multiples(paper_of(everybody.canvas, size), size, scene);
      everybody = {
        ...everybody,
        key,
        find,
        said,
        boxes
      };
    }
    const ctx = paper_of(small.canvas, size);
    ctx.drawImage(everybody.canvas, 0, 0, size.width, size.height);
    draw_chosen(ctx, everybody.boxes, {
      ...scene,
      person: state.person,
      trial: state.trial,
      data: words.here()
    });
    small.finder.find = everybody.find;
    const pages = page.n > 1 ? ` \xB7 page ${page.at + 1} of ${page.n}` : "";
    small.caption.textContent = `${small.name}: mean envelope and single trials, ${setup.labels[state.row]}${pages}`;
    small.canvas.setAttribute("aria-label", everybody.said);
  }
  function paint_somebody() {
    const data = words.here();
    const alike = store.alike(state.person);
    screen.grid.dataset.here = data ? "yes" : "no";
    if (!data || !alike) {
      for (const { canvas } of screen.pictures) paper_of(canvas, size_of(canvas));
      return data === null;
    }
    const channel = setup.channels[state.row];
    const theme = theme_of(root);
    const scene = {
      setup,
      colours: PALETTES[theme],
      heat: HEATS[theme.startsWith("dark") ? "dark" : "light"],
      font_px: canvas_font_px(),
      person: state.person,
      row: state.row,
      trial: state.trial,
      named: state.named(),
      data,
      alike,
      channel,
      unit: setup.people[state.person].unit
    };
    for (const { id, canvas, finder } of screen.pictures) {
      const size = size_of(canvas);
      if (size.width < 50 || size.height < 50) continue;
      const painted = PAINTS[id](paper_of(canvas, size), size, scene);
      finder.find = painted.find;
      canvas.setAttribute("aria-label", painted.words);
    }
    return true;
  }
  function refresh() {
    if (!ready) return;
    const began = performance.now();
    const at = state.order.indexOf(state.person);
    store.want([
      state.person,
      ...state.order.slice(Math.max(0, at - AHEAD), at + AHEAD + 1)
    ]);
    write_table();
    const whole = paint_somebody();
    paint_small(root.clientWidth);
    words.write();
    root.dataset.drawing = (performance.now() - began).toFixed(2);
    root.dataset.painted = whole ? `${state.person} ${state.row} ${state.trial ?? ""}`.trim() : "loading";
  }
  function show_review(on) {
    const { opened } = screen;
    if (!opened) return;
    state.opened = on;
    root.hidden = on;
    opened.dataset.open = on ? "yes" : "no";
    if (on) {
      screen.shown.textContent = screen.title.textContent;
      const inner = review_root();
      inner?.focus();
    } else {
      root.focus();
      refresh();
    }
  }
  function review_root() {
    const find = (node) => {
      for (const one of node.querySelectorAll("*")) {
        if (one instanceof HTMLElement && one.matches(".emgreview[tabindex]")) return one;
        const inner = one.shadowRoot && find(one.shadowRoot);
        if (inner) return inner;
      }
      return null;
    };
    return screen.opened && find(screen.opened);
  }
  screen.opened?.addEventListener("keydown", (event) => {
    const back = setup.keys.find(({ command }) => command === "back");
    if (!back || event.code.replace("Numpad", "") !== back.code || event.shiftKey !== back.shift) return;
    if (
      /** @type {HTMLElement} */
      event.composedPath()[0].tagName === "INPUT"
    ) return;
    event.preventDefault();
    event.stopPropagation();
    show_review(false);
  }, {
    capture: true
  });
  function act(action, pressed) {
    if (pressed && asking.key) return asking.key(pressed);
    if (pressed && screen.key_card.open) return screen.key_card.key(action, pressed);
    asking.close();
    moving.commands[action.command]?.(action);
  }
  wire.listen((what) => {
    if ("stopped" in what) notice.last(what.stopped);
    if (what.said?.client === wire.client) notice.pass(what.said.words);
    if (what.shown?.client === wire.client) show_review(true);
  });
  const sizes = new ResizeObserver(() => refresh());
  live(model, view, {
    root,
    keys_on: screen.keys_on,
    keys: setup.keys,
    every_ms: TICK_MS2,
    act,
    dress() {
      ready = true;
      sizes.observe(root);
      refresh();
    },
    fit: refresh,
    tick(attentive) {
      wire.watch(attentive);
      if (root.dataset.painted === "loading") refresh();
      if (ready && !document.hidden && !state.opened) {
        const page = state.page(panels().per_page);
        for (const by of [
          1,
          -1
        ]) store.want_singles(state.people_of(page.at + by, panels().per_page), state.row);
        store.want_ahead(state.order, state.order.indexOf(state.person));
      }
    },
    leave() {
    },
    unsaved: () => false,
    close() {
      sizes.disconnect();
      store.close();
      wire.close();
    }
  });
  wire.insist("hello");
  return screen.element;
}

// review/bands.js
var band_weights = (setup) => setup.channels.map((channel) => channel.auxiliary ? 0.55 : 1);
var strip_px = (font_px) => font_px + 7;
var least_bands_px = (setup, font_px) => strip_px(font_px) + 3.6 * font_px * band_weights(setup).reduce((a, b) => a + b, 0);
function lay_bands(setup, height, font_px) {
  const weights = band_weights(setup);
  let top = strip_px(font_px);
  const unit = (height - top) / weights.reduce((a, b) => a + b, 0);
  return weights.map((weight, row) => {
    const band = {
      row,
      top,
      height: weight * unit,
      auxiliary: setup.channels[row].auxiliary
    };
    top += weight * unit;
    return band;
  });
}

// review/overview.js
var row_px = (font_px) => Math.round(12 / 11 * font_px);
var minus_width = (interval) => interval && interval[0] - interval[1];
var SORTS = [
  [
    "order of the review",
    (_summary, _row, place) => place,
    true
  ],
  [
    "time of recording",
    (summary) => summary[3] && summary[3][0] * 1e12 + summary[3][1],
    false
  ],
  [
    "response",
    (summary) => summary[1],
    false
  ],
  [
    "onset",
    (summary, row) => summary[2][row][0],
    true
  ],
  [
    "certainty, least first",
    (summary, row) => minus_width(summary[2][row][2]),
    true
  ]
];
function next_sort(sort, blind) {
  const next = (sort + 1) % SORTS.length;
  return blind && !SORTS[next][2] ? next_sort(next, blind) : next;
}
function overview_order({ summaries, order, place }, row, sort) {
  const key = SORTS[sort][1];
  const known = order.filter((i) => summaries[i]);
  if (!sort) return known;
  const value = new Map(known.map((i) => [
    i,
    key(summaries[i], row, place(i)) ?? Infinity
  ]));
  const of = (i) => value.get(i) ?? Infinity;
  return known.sort((a, b) => of(a) - of(b) || place(a) - place(b));
}
function draw_overview(canvas, { summaries, order, row, index, range, theme, font_px }) {
  const colours = PALETTES[theme];
  const ratio = window.devicePixelRatio || 1;
  const width = canvas.clientWidth;
  const height = canvas.clientHeight;
  const at = order.indexOf(index);
  const high = row_px(font_px);
  const shown2 = Math.floor(height / high);
  const first = Math.max(0, Math.min(order.length - shown2, at - Math.floor(shown2 / 2)));
  const hit = (y) => order[first + Math.floor(y / high)];
  if (width < 20 || height < 20) return hit;
  Object.assign(canvas, {
    width: width * ratio,
    height: height * ratio
  });
  const ctx = context_of(canvas);
  ctx.scale(ratio, ratio);
  ctx.fillStyle = colours.ground;
  ctx.fillRect(0, 0, width, height);
  const left = 1.45 * font_px;
  const x = (s) => left + (s - range[0]) / (range[1] - range[0]) * (width - left - 4);
  ctx.strokeStyle = colours.ink;
  ctx.lineWidth = 1;
  ctx.beginPath();
  ctx.moveTo(x(0), 0);
  ctx.lineTo(x(0), height);
  ctx.stroke();
  ctx.font = `${font_px}px system-ui, sans-serif`;
  ctx.textBaseline = "middle";
  for (let k = 0; k < shown2 && first + k < order.length; k++) {
    const i = order[first + k];
    const [, response, channels] = summaries[i];
    const [onset, offset, interval, sign] = channels[row];
    const y = k * high + high / 2;
    if (i === index) {
      ctx.fillStyle = colours.band;
      ctx.fillRect(0, y - high / 2, width, high);
      ctx.strokeStyle = colours.envelope;
      ctx.strokeRect(0.5, y - high / 2 + 0.5, width - 1, high - 1);
    }
    ctx.fillStyle = colours.ink;
    ctx.fillText(sign, 3, y + 0.5);
    if (onset != null) {
      ctx.strokeStyle = colours.rectified;
      ctx.lineWidth = 1;
      ctx.beginPath();
      ctx.moveTo(x(onset), y);
      ctx.lineTo(x(offset ?? onset), y);
      ctx.stroke();
      ctx.fillStyle = colours.onset;
      ctx.fillRect(x(onset) - 1, y - 2.5, 2, 5);
      if (interval && interval[1] - interval[0] > 0.02) {
        ctx.strokeStyle = colours.onset;
        ctx.beginPath();
        ctx.moveTo(x(interval[0]), y);
        ctx.lineTo(x(interval[1]), y);
        ctx.stroke();
      }
    }
    if (response != null) {
      ctx.fillStyle = colours.ink;
      ctx.fillRect(x(response) - 0.5, y - 3, 1, 2);
      ctx.fillRect(x(response) - 0.5, y + 1, 1, 2);
    }
  }
  return hit;
}

// review/commands.js
function make_commands({ setup, screen, state, selection, lists, moving, painting, words }) {
  const { refresh } = painting;
  function set_gain(gain) {
    state.gain = Math.min(64, Math.max(1 / 64, gain));
    refresh();
  }
  function toggle(part) {
    part.hidden = !part.hidden;
    refresh();
  }
  function not_locatable() {
    const here = state.here();
    if (!state.loaded() || !here) {
      return screen.notice.pass(`Trial ${state.count()} is not here yet: no decision was taken.`);
    }
    const ends = selection.interval();
    if (!state.times_shown()) {
      if (!here.interval_s) return selection.put_interval(ends);
      return screen.notice.pass("It is not locatable already: move its edges, not before and not after.");
    }
    const [a, b] = ends.map((s) => Number((s * 1e3).toFixed(1)));
    screen.asking.ask("Present, but the onset cannot be located. Times from the cue, in ms:", [
      {
        name: "a",
        words: "not before",
        type: "number",
        value: a
      },
      {
        name: "b",
        words: "not after",
        type: "number",
        value: b
      }
    ], (said) => selection.put_interval([
      said.a / 1e3,
      said.b / 1e3
    ]) && moving.go_on());
  }
  return {
    next_trial: () => lists.step(1),
    previous_trial: () => lists.step(-1),
    next_row: () => moving.step_row(1),
    previous_row: () => moving.step_row(-1),
    next_channel: () => moving.step_channel(1),
    previous_channel: () => moving.step_channel(-1),
    next_unreviewed: moving.next_open_trial,
    trial: ({ index }) => index != null && moving.show(index),
    channel: ({ row }) => moving.show(state.index, row),
    list: lists.choose,
    overview: () => toggle(screen.overview),
    sort: () => {
      state.sort = next_sort(state.sort, state.blind);
      screen.overview.hidden = false;
      refresh();
    },
    smear: () => {
      state.smear = !state.smear;
      refresh();
    },
    read_out: () => {
      state.read_out = !state.read_out;
      refresh();
    },
    spectrum: () => {
      state.spectrum_for = "";
      toggle(screen.spectrum);
    },
    listen: moving.listen,
    gain_up: () => set_gain(state.gain * 2),
    gain_down: () => set_gain(state.gain / 2),
    span: () => {
      if (painting.at_usual_span()) state.span = 1 - state.span;
      state.layer?.set_range(...setup.spans[state.span]);
      refresh();
    },
    words: () => screen.asking.tell("Every word of this trial", words.in_full()),
    key_card: () => screen.key_card.toggle(),
    not_locatable
  };
}

// review/deciding.js
function make_deciding(review) {
  const { store, screen, state } = review;
  function visible() {
    const { layer, gain, index, row, shown: shown2 } = state;
    const [x0, x1] = state.range();
    const seconds = shown2.index === index ? (performance.now() - shown2.since) / 1e3 : 0;
    const trial = store.trials.get(index);
    return {
      seconds: Number(seconds.toFixed(2)),
      gain,
      full_scale: trial ? Number((trial.full_scale[row] / gain).toPrecision(4)) : null,
      span_s: [
        Number(x0.toFixed(4)),
        Number(x1.toFixed(4))
      ],
      ms_per_px: layer?.frame().width ? Number(((x1 - x0) * 1e3 / layer.frame().width).toFixed(2)) : null,
      walk: review.lists.name,
      automatic: !state.here()?.hidden,
      read_out: state.times_shown(),
      overview: !screen.overview.hidden,
      response: !state.blind,
      typical: !state.blind && store.typical.has(`${trial?.recording}|${row}`),
      spectrum: !screen.spectrum.hidden,
      smear: state.smear
    };
  }
  function seen_by(command) {
    const { index, row, emg_rows } = state;
    const channels = state.card()?.channels;
    if (!channels || command !== "accept" && command !== "accept_rest") return null;
    const rows = command === "accept" ? [
      row
    ] : emg_rows.filter((r) => !state.decided(index, r));
    const marks = rows.map((r) => channels[r].bursts.map(({ id, onset_s, offset_s }) => [
      id,
      onset_s,
      offset_s
    ]));
    return Object.fromEntries(rows.map((r, i) => [
      state.label(r),
      marks[i]
    ]));
  }
  function hindrance() {
    if (!state.loaded()) return `Trial ${state.count()} is not here yet: no decision was taken.`;
    const back = store.pending.some(({ command }) => command === "undo" || command === "redo");
    return back ? "Taking back: no decision was taken." : "";
  }
  function decide(command, args = {}, channel = state.label()) {
    const why = hindrance();
    if (why) {
      screen.notice.pass(why);
      return false;
    }
    const edges = command === "not_locatable" && state.here()?.interval_s;
    const closes = state.closes(command) && !edges;
    const seen = seen_by(command);
    if (!store.decide({
      command,
      index: state.index,
      channel,
      args,
      visible: visible(),
      seen
    })) {
      if (store.stopped) screen.notice.pass(store.stopped);
      return false;
    }
    if (closes) review.words.closed();
    review.words.propose_break();
    return true;
  }
  return {
    decide,
    /** Whether an added burst of the present channel is on its way. */
    adding: () => store.pending.some(({ command, index, channel }) => command === "add" && index === state.index && channel === state.label()),
    /** Refuse before Python is asked.
     * @param {string} words */
    refuse(words) {
      screen.notice.show(`Trial ${state.count()}, ${state.label()}: not taken: ${words}`);
      review.painting.refresh();
    }
  };
}

// review/forms.js
function make_forms({ setup, store, screen, state, selection, deciding, moving }) {
  const last_reasons = {};
  const { decide } = deciding;
  const selected_burst = () => state.here()?.bursts.find(({ id }) => id === selection.mark.burst);
  function reasons(command, question) {
    screen.asking.choose(question, setup.choices[command], true, (reasons2) => {
      last_reasons[command] = reasons2;
      if (!decide(command, {
        reasons: reasons2
      })) return false;
      screen.asking.close();
      if (state.closes(command)) moving.go_on();
    });
  }
  function settle(dispute, channel) {
    if (!dispute) return screen.notice.pass("Nothing is disputed here.");
    const words = dispute.said[state.times_shown() ? "timed" : "untimed"];
    screen.asking.choose(`${dispute.why}. ${words}. Which stands?`, setup.choices.settle, false, ([choice]) => decide("settle", {
      choice
    }, channel) && channel && moving.go_on());
  }
  function choose_one(question, choices, command, argument, more = {}) {
    screen.asking.choose(question, choices, false, ([word]) => decide(command, {
      [argument]: word,
      ...more
    }));
  }
  function comment(question, value, ...channel) {
    screen.asking.ask(question, [
      {
        name: "text",
        words: "",
        value: value ?? ""
      }
    ], ({ text }) => decide("comment", {
      text
    }, ...channel));
  }
  function exclude() {
    const card = state.card();
    if (!card) return decide("exclude");
    const status = {
      channel: state.here()?.excluded,
      ...card.excluded
    };
    const names = {
      channel: `channel ${state.label()} in this recording`,
      recording: "this recording, all channels",
      participant: "this participant, all recordings"
    };
    const choices = Object.keys(names).filter((what) => what in status).map((what, i) => ({
      code: `Digit${i + 1}`,
      words: what,
      shown: (status[what] ?? null) == null ? `exclude ${names[what]}` : `readmit ${names[what]} (excluded${status[what] && `: ${status[what]}`})`
    }));
    screen.asking.choose("Keep out of every analysis? Decisions stay, and may go on.", choices, false, ([what]) => {
      const command = (status[what] ?? null) == null ? "exclude" : "readmit";
      screen.asking.ask(`${command === "exclude" ? "Exclude" : "Readmit"} ${names[what]} (no names of people):`, [
        {
          name: "reason",
          words: command === "exclude" ? "reason" : "reason, if there is one to give",
          value: ""
        }
      ], ({ reason }) => {
        if (command === "readmit" || reason.trim()) return decide(command, {
          what,
          reason: reason.trim()
        });
        screen.asking.complain("An exclusion needs its reason, in a few words.");
        return false;
      });
    });
  }
  return {
    exclude,
    readmit: exclude,
    discuss_trial: () => decide("discuss", {}, null),
    go_to: () => screen.asking.ask("Go to which trial?", [
      {
        name: "n",
        words: `1 to ${store.order.length}`,
        type: "number",
        value: state.count()
      }
    ], ({ n }) => moving.show(store.order[within(Math.round(n) - 1, 0, store.order.length - 1)]), MOVES),
    convention: () => screen.asking.tell("The marking convention of this study", setup.convention || "This study has not written one down."),
    unblind: () => state.blind ? screen.asking.ask("Show condition, participant and response from now on? This is logged.", [
      {
        name: "reason",
        words: "reason",
        value: ""
      }
    ], ({ reason }) => decide("unblind", {
      reason
    })) : screen.notice.pass("This review is not blind."),
    unusable: () => reasons("unusable", "Why is this signal unusable?"),
    caution: () => reasons("caution", "What calls for caution here?"),
    same_reasons: () => {
      if (!last_reasons.unusable) {
        return screen.notice.pass("No reason for an unusable signal was given yet in this session.");
      }
      if (decide("unusable", {
        reasons: last_reasons.unusable
      })) moving.go_on();
    },
    settle: () => settle(state.here()?.dispute, state.label()),
    settle_trial: () => settle(state.card()?.dispute, null),
    behaviour: () => choose_one("What did the person do in this trial?", setup.choices.behaviour, "behaviour", "behaviour"),
    kind: () => {
      const { burst } = selection.mark;
      const bursts = state.here()?.bursts ?? [];
      const which = bursts.length > 1 ? `number ${1 + bursts.findIndex(({ id }) => id === burst)}` : "this";
      choose_one(`What kind of burst is ${which}?`, setup.choices.kind, "kind", "kind", {
        burst
      });
    },
    half_width: () => {
      const now = selected_burst();
      if (!now) return screen.notice.pass("There is no mark here whose half-width could be given: add one first.");
      const value = now.half_width_s == null ? "" : Number((now.half_width_s * 1e3).toPrecision(3));
      screen.asking.ask("How far to either side of its mark may the onset lie? Leave the field empty to say nothing of it.", [
        {
          name: "by",
          words: "\xB1 ms",
          value
        }
      ], ({ by }) => {
        const half_width_ms = by.trim() ? Number(by.replace(",", ".")) : null;
        if (half_width_ms == null || half_width_ms > 0) {
          return decide("half_width", {
            half_width_ms,
            burst: now.id
          });
        }
        screen.asking.complain(`"${by}" is no number of ms above 0; give one, or leave the field empty.`);
        return false;
      });
    },
    /** The method for all trials; parameters other than the usual ones are a matter for a script. */
    change_method: () => screen.asking.choose(`Onsets are found by ${setup.method}. Find them anew by which method, with its usual parameters? Others are given by script: session.change_method(name, parameter=value). Reviewed marks stay as they are. This is logged, and undo passes over it.`, setup.choices.change_method, false, ([method]) => {
      if (decide("change_method", {
        method,
        slow: "Onsets are being found anew: no decision is taken until that is done. If the kernel was restarted, run the cell again: review goes on where the file ends."
      })) {
        screen.notice.pass(`Finding the onsets anew by ${method} \u2026`);
      }
    }),
    comment: () => comment("Comment on this channel (no names of people):", state.here()?.comment),
    comment_trial: () => comment("Comment on the whole trial (no names of people):", state.card()?.comment, null),
    seal: () => screen.asking.ask("Seal the decisions so far as a named version:", [
      {
        name: "name",
        words: "name",
        value: setup.next_version
      }
    ], ({ name }) => decide("seal", {
      name
    }))
  };
}

// review/moving.js
var HEARD_AROUND_S = 0.1;
var HEARD_S = 0.5;
function make_moving3(review) {
  const { setup, store, screen, state, selection, lists } = review;
  let listened = 0;
  function leave() {
    selection.flush();
    review.pointer.let_go();
    screen.asking.close();
    const lost = selection.drop_kept();
    if (lost) screen.notice.pass(`Pressed for a burst that was not yet saved, and not taken: ${lost}.`);
  }
  function show(i, row = null) {
    leave();
    state.index = i;
    state.awaited = !state.loaded();
    state.row = row ?? first_open(state.index) ?? rows_of(state.index)[0];
    selection.let_go();
    selection.select();
    lists.at(state.index);
    review.painting.refresh();
  }
  function arrive(i, row = null) {
    if (screen.asking.unsent) review.painting.refresh();
    else show(i, row);
  }
  const rows_of = (i) => lists.rows(i) ?? state.emg_rows;
  const first_open = (i) => rows_of(i).find((row) => !state.decided(i, row));
  function go_on() {
    const { index } = state;
    const later = rows_of(index).find((row) => row > state.row && !state.decided(index, row)) ?? first_open(index);
    if (later != null) show(index, later);
    else if (lists.words || state.count() < store.order.length) lists.step(1);
    else review.painting.refresh();
  }
  return {
    show,
    arrive,
    go_on,
    first_open,
    /** Scroll to the present channel, where the page shows less than the picture. */
    reveal() {
      if (!state.layer || screen.asking.key || screen.key_card.open) return;
      const { top, height } = state.layer.frame();
      const band = lay_bands(setup, height, canvas_font_px())[state.row];
      screen.reveal(top + band.top, band.height);
    },
    /** To another row of the overview.
     * @param {number} by */
    step_row(by) {
      const order = overview_order(store, state.row, state.sort);
      const next = order[order.indexOf(state.index) + by];
      if (next != null) show(next, state.row);
    },
    /** @param {number} by */
    step_channel(by) {
      const row = state.emg_rows[state.emg_rows.indexOf(state.row) + by];
      if (row != null) show(state.index, row);
    },
    /** The next trial that is open, of those stepped through, from the present one around to it. */
    next_open_trial() {
      let untold = false;
      const next = lists.next_where((i) => {
        if (!store.summaries[i]) return untold = true;
        const [status, , channels] = store.summaries[i];
        const open = status === "open" || channels.some(([, , , , reviewed]) => !reviewed);
        return open && !store.pending.some(({ index }) => index === i);
      });
      if (untold) {
        return screen.notice.pass(`The states of ${store.untold} trials are still being read: press again in a moment.`);
      }
      if (next != null) return show(next);
      screen.notice.pass(`${setup.none_left}${lists.words ? " in those stepped through" : ""}.`);
    },
    /** Hear the selected burst, or what is shown. */
    listen() {
      const burst = selection.burst();
      let [start_s, stop_s] = state.range();
      if (burst) {
        start_s = burst.onset_s - HEARD_AROUND_S;
        stop_s = (burst.offset_s ?? burst.onset_s + HEARD_S) + HEARD_AROUND_S;
      }
      listened += 1;
      store.ask("listen", {
        n: listened,
        index: state.index,
        channel: state.label(),
        start_s,
        stop_s
      });
    },
    ask_spectrum() {
      const { index, row } = state;
      const burst = selection.burst();
      const wanted = `${index}|${row}|${burst?.onset_s}|${burst?.offset_s}`;
      if (wanted === state.spectrum_for) return;
      state.spectrum_for = wanted;
      screen.spectrum_map.getContext("2d")?.clearRect(0, 0, 9999, 9999);
      if (burst?.offset_s == null) return screen.notice.pass("A spectrum needs a burst with onset and offset.");
      const { onset_s, offset_s } = burst;
      store.ask("spectrum", {
        index,
        channel: state.label(),
        onset_s,
        offset_s,
        for: wanted
      });
    }
  };
}

// review/spectrum.js
function draw_spectrum(canvas, { frequency_hz, burst, rest, unit }, theme, font_px) {
  const colours = PALETTES[theme];
  const ratio = window.devicePixelRatio || 1;
  const [width, height] = [
    canvas.clientWidth,
    canvas.clientHeight
  ];
  Object.assign(canvas, {
    width: width * ratio,
    height: height * ratio
  });
  const ctx = context_of(canvas);
  ctx.scale(ratio, ratio);
  ctx.fillStyle = colours.ground;
  ctx.fillRect(0, 0, width, height);
  const top_hz = Math.min(500, ...frequency_hz.slice(-1));
  const db = (values) => values.map((value) => 10 * Math.log10(Math.max(value, 1e-12)));
  const [b, r] = [
    db(burst),
    db(rest)
  ];
  const seen = [
    ...b,
    ...r
  ].filter((_, i) => frequency_hz[i % frequency_hz.length] <= top_hz);
  const high = Math.max(...seen) + 3;
  const low = Math.max(Math.min(...seen), high - 60);
  const [left, top, bottom] = [
    3.1 * font_px,
    1.3 * font_px,
    height - 2.4 * font_px
  ];
  const x = (hz) => left + hz / top_hz * (width - left - 1.2 * font_px);
  const y = (value) => top + (high - value) / (high - low) * (bottom - top);
  ctx.font = `${10 / 11 * font_px}px system-ui, sans-serif`;
  ctx.fillStyle = colours.ink;
  ctx.strokeStyle = colours.grid;
  ctx.textAlign = "center";
  let written = -Infinity;
  for (const hz of [
    50,
    100,
    200,
    300,
    400,
    500
  ].filter((f) => f <= top_hz)) {
    ctx.beginPath();
    ctx.moveTo(x(hz), top);
    ctx.lineTo(x(hz), bottom);
    ctx.stroke();
    if (x(hz) - written < 2 * font_px) continue;
    ctx.fillText(String(hz), x(hz), height - 1.3 * font_px);
    written = x(hz);
  }
  ctx.textAlign = "right";
  ctx.fillText("frequency (Hz)", width - 4, height - 3);
  ctx.textAlign = "left";
  ctx.fillText(brief(`dB re 1 ${unit}`, 24), 2, 0.9 * font_px);
  const step = high - low > 45 ? 20 : 10;
  for (let value = step * Math.ceil(low / step); value < high; value += step) {
    ctx.beginPath();
    ctx.moveTo(left, y(value));
    ctx.lineTo(width - 1.2 * font_px, y(value));
    ctx.stroke();
    if (y(value) > top + 0.4 * font_px) ctx.fillText(String(value).replace("-", "\u2212"), 6, y(value) + 3);
  }
  const line2 = (values, colour, dash, words, at) => {
    ctx.strokeStyle = ctx.fillStyle = colour;
    ctx.lineWidth = 1.6;
    ctx.setLineDash(dash);
    ctx.beginPath();
    frequency_hz.forEach((hz, i) => {
      if (hz <= top_hz) ctx.lineTo(x(hz), Math.min(y(values[i]), bottom));
    });
    ctx.stroke();
    ctx.setLineDash([]);
    ctx.fillText(words, at, top + 0.9 * font_px);
  };
  const [one, two] = [
    "\u2014 burst",
    "- - rest"
  ];
  const right = width - ctx.measureText(two).width - 6;
  line2(b, colours.envelope, [], one, right - ctx.measureText(`${one}  `).width);
  line2(r, colours.faint, [
    4,
    3
  ], two, right);
}

// review/news.js
function listen_to_news({ setup, store, screen, state, selection, lists, moving, painting, player, pointer }) {
  const { root } = screen;
  function take_facts(what) {
    if (what.progress) state.progress = what.progress;
    for (const name of [
      "next_version",
      "method",
      "counted"
    ]) {
      setup[name] = what[name] ?? setup[name];
    }
    if (what.awaited != null) state.awaited_words = what.awaited;
    if ("blind" in what && what.blind !== state.blind) {
      state.blind = what.blind;
      state.layer?.hide_times(state.blind);
    }
  }
  function play(what) {
    const { seconds, state: said } = player.play(what.sound);
    root.dataset.heard = `${seconds.toFixed(2)} ${said}`;
    if (said === "running") return;
    screen.notice.pass(seconds ? `The browser plays no sound (it says: ${said}).` : "There is nothing to hear here.");
  }
  function refuse({ decision, words, doubt }) {
    const place = decision ? `Trial ${state.count(decision.index)}, ${decision.channel ?? "whole trial"}: ` : "";
    const lost = decision?.command === "add" ? selection.forget_added() : 0;
    if (!selection.nudged) selection.drop();
    store.renew(decision ? [
      decision.index
    ] : [
      state.index
    ]);
    if (decision && decision.index !== state.index && !store.pending.length) moving.arrive(decision.index);
    screen.notice.show(`${place}${doubt ? "perhaps saved" : "not taken"}: ${words}${lost ? ` Nor what was pressed after it: ${lost}.` : ""}`);
  }
  function take_trial(what) {
    const came = what.trials?.includes(state.index);
    if (came && state.awaited) {
      state.awaited = false;
      state.row = moving.first_open(state.index) ?? state.row;
    }
    const changed = what.cards?.some((card) => card.index === state.index);
    if ((came || changed) && !selection.nudged && !pointer.dragging) selection.select();
  }
  let begun = false;
  store.listen((what) => {
    take_facts(what);
    if (what.spectrum?.client === store.client) {
      if (what.spectrum.for !== state.spectrum_for) return;
      return draw_spectrum(screen.spectrum_map, what.spectrum, theme_of(root), canvas_font_px());
    }
    if (what.sound) return play(what);
    if (lists.hear(what)) return;
    if ("stopped" in what) screen.notice.last(what.stopped);
    if (what.refusal) refuse(what.refusal);
    if (what.said?.client === store.client) screen.notice.pass(what.said.words);
    if (what.notes) screen.notes.fill(what.notes);
    if (what.unfit) screen.notice.pass(what.unfit);
    if (what.start?.client === store.client && !begun) {
      begun = true;
      if (what.start.where !== state.index) return moving.arrive(what.start.where);
    }
    if (what.go_to?.client === store.client) return moving.arrive(what.go_to.index, what.go_to.row);
    take_trial(what);
    selection.run_kept();
    painting.refresh();
  });
}

// review/backdrop.js
function shade_plausible(ctx, [from, to], px, height, colours) {
  ctx.fillStyle = colours.usual_line;
  ctx.fillRect(px(from), height - 5, px(to) - px(from), 5);
  ctx.strokeStyle = colours.faint;
  ctx.setLineDash([
    1,
    4
  ]);
  for (const s of [
    from,
    to
  ]) {
    ctx.beginPath();
    ctx.moveTo(px(s), 0);
    ctx.lineTo(px(s), height);
    ctx.stroke();
  }
  ctx.setLineDash([]);
}
function draw_typical(ctx, usual, band, full, t0, px, colours) {
  const split = band.top + band.height * 0.4;
  const rise = (split - band.top - 6) / full;
  const { lower, median, upper } = usual;
  const x = (i) => px(t0 + i * median.step_s);
  const y = (trace, i) => Math.max(band.top + 1, split - trace.samples[i] * trace.scale * rise);
  ctx.fillStyle = colours.usual;
  ctx.beginPath();
  for (let i = 0; i < upper.n; i++) ctx.lineTo(x(i), y(upper, i));
  for (let i = lower.n - 1; i >= 0; i--) ctx.lineTo(x(i), y(lower, i));
  ctx.fill();
  ctx.strokeStyle = colours.usual_line;
  ctx.lineWidth = 1;
  ctx.beginPath();
  for (let i = 0; i < median.n; i++) ctx.lineTo(x(i), y(median, i));
  ctx.stroke();
}
function draw_scale_bar(ctx, band, channel, full, words, colours) {
  const per_uv = (band.height * 0.6 - 4) / 2 / full;
  const value = round_below(full * 1.4);
  const long = value * per_uv;
  const bottom = band.top + band.height * 0.7 + long / 2;
  ctx.strokeStyle = colours.ink;
  ctx.lineWidth = 2;
  ctx.beginPath();
  ctx.moveTo(9, bottom);
  ctx.lineTo(9, bottom - long);
  ctx.stroke();
  const text = channel.unit_label === "arbitrary units" ? `${value} (arbitrary)` : `${value} ${channel.unit_label}`;
  plate(ctx, brief(text, 24), 14, bottom - long / 2 + 4, colours, "left", words ? colours.onset : colours.ink);
  if (words) plate(ctx, brief(words, 80), 14, band.top + band.height - 6, colours, "left", colours.onset);
}
var look_font = (ctx) => parseFloat(ctx.font.replace("bold ", ""));
function draw_smear(ctx, smear, cursor_s, band, px, colours, timed) {
  const bottom = band.top + band.height - 4;
  const y = (value) => bottom - value * band.height * 0.5;
  ctx.strokeStyle = colours.envelope;
  ctx.lineWidth = 1.6;
  ctx.setLineDash([
    3,
    2
  ]);
  ctx.beginPath();
  smear.time_s.forEach((s, i) => ctx.lineTo(px(cursor_s + s), y(smear.value[i])));
  ctx.stroke();
  ctx.setLineDash([]);
  const begins_ms = Math.round(smear.time_s[smear.value.findIndex((value) => value > 0.05)] * 1e3);
  const words = "envelope of a step here: begins " + (timed ? `${Math.abs(begins_ms)} ms ` : "") + (begins_ms < 0 ? "early" : "late");
  plate(ctx, words, Math.max(px(cursor_s) - 6, ctx.measureText(words).width + 6), band.top + 2 * look_font(ctx) + 5, colours, "right", colours.envelope);
}

// review/lines.js
var LINES = {
  cue: {
    dash: [],
    thick: 1.4
  },
  corrected: {
    dash: [],
    thick: 2.6
  },
  recorded: {
    dash: [
      5,
      5
    ],
    thick: 1
  },
  none: {
    dash: [
      1,
      5
    ],
    thick: 1.4
  },
  added: {
    dash: [
      12,
      3,
      2,
      3
    ],
    thick: 1.4
  },
  response: {
    dash: [
      8,
      4
    ],
    thick: 1
  },
  other: {
    dash: [
      2,
      4
    ],
    thick: 1
  }
};
function draw_aside2(ctx, stretches, band, px, width, colours) {
  for (const [start_s, stop_s, words] of stretches) {
    const [x0, x1] = [
      Math.max(0, px(start_s)),
      Math.min(width, Math.max(px(stop_s), px(start_s) + 2))
    ];
    if (x1 <= 0 || x0 >= width) continue;
    hatch(ctx, {
      left: x0,
      right: x1,
      top: band.top,
      height: band.height
    }, colours.faint);
    ctx.strokeRect(x0, band.top + 1, x1 - x0, band.height - 2);
    const said = cut_to(ctx, words, Math.max(x1 - x0, width / 3) - 6);
    plate(ctx, said, Math.min(x0 + 3, width - width_of(ctx, said) - 4), band.top + band.height * 0.4 + 4, colours);
  }
}

// review/selection.js
var NUDGE_MS2 = 300;
var OTHER_SIDE = {
  onset: "offset",
  offset: "onset",
  earliest: "latest",
  latest: "earliest"
};
var SIDE_WORDS = {
  onset: "onset",
  offset: "offset",
  earliest: "not before",
  latest: "not after"
};
function marks_of({ bursts, interval_s }) {
  const marks = bursts.flatMap(({ id, onset_s, offset_s }) => [
    {
      burst: id,
      side: "onset",
      s: onset_s
    },
    {
      burst: id,
      side: "offset",
      s: offset_s
    }
  ]);
  if (interval_s) {
    marks.push({
      burst: null,
      side: "earliest",
      s: interval_s[0]
    }, {
      burst: null,
      side: "latest",
      s: interval_s[1]
    });
  }
  return marks.flatMap(({ s, ...mark }) => s == null || s === void 0 ? [] : [
    {
      ...mark,
      s
    }
  ]);
}
function make_selection(setup, host) {
  const { rate_hz } = setup;
  const [first_s, last_s] = setup.spans[0];
  let mark = {
    burst: null,
    side: "onset",
    at_s: null
  };
  let cursor_s = setup.cursor_s;
  let hover_s = null;
  let timer;
  let added = null;
  const kept = [];
  const bursts = () => host.channel()?.bursts ?? [];
  const burst = () => bursts().find((known) => known.id === mark.burst);
  const where = () => marks_of(host.channel() ?? {
    bursts: [],
    interval_s: null
  }).find((m) => m.burst === mark.burst && m.side === mark.side);
  const stepped2 = (s, by_s) => (Math.round(s * rate_hz) + whole_step(by_s, rate_hz)) / rate_hz;
  function select() {
    const { index, row } = host.place();
    if (added?.index === index && added.row === row) {
      const { known, side } = added;
      const fresh = bursts().find(({ id }) => !known.includes(id));
      if (fresh) {
        mark = {
          burst: fresh.id,
          side,
          at_s: null
        };
        added = null;
        return;
      }
    }
    if (host.channel()?.interval_s) {
      mark = {
        burst: null,
        side: mark.side === "latest" ? "latest" : "earliest",
        at_s: null
      };
      return;
    }
    const same = burst();
    const taken = same ?? bursts().find((known) => known.kind === "response") ?? bursts()[0];
    mark = {
      burst: taken?.id ?? null,
      side: same ? mark.side : "onset",
      at_s: null
    };
  }
  function coming() {
    const { index, row } = host.place();
    return added?.index === index && added.row === row && host.adding();
  }
  function run_kept() {
    if (!coming()) {
      for (const run of kept.splice(0)) run();
    }
  }
  function drop_kept() {
    return kept.splice(0).length;
  }
  function ready() {
    if (!coming()) return true;
    host.notice("The burst just added is not yet saved; press once more.");
    return false;
  }
  function put() {
    const { side, at_s } = mark;
    const channel = host.channel();
    mark.at_s = null;
    if (at_s == null || !channel || host.stopped()) return host.refresh();
    if (channel.interval_s && !mark.burst) {
      const ends = side === "earliest" ? [
        at_s,
        channel.interval_s[1]
      ] : [
        channel.interval_s[0],
        at_s
      ];
      if (ends[0] > ends[1]) mark.side = OTHER_SIDE[side];
      put_interval(ends);
    } else {
      const known = (
        /** @type {Burst} */
        burst()
      );
      const { onset_s, offset_s } = side === "onset" ? {
        ...known,
        onset_s: at_s
      } : {
        ...known,
        offset_s: at_s
      };
      if (offset_s != null && offset_s <= onset_s) {
        return host.refuse("the offset would not come after its onset; put it later, or the onset earlier.");
      }
      if (host.decide("move", {
        burst: mark.burst,
        [`${side}_s`]: at_s
      })) Object.assign(known, {
        [`${side}_s`]: at_s
      });
    }
    host.refresh();
  }
  function put_interval(ends) {
    const [earliest_s, latest_s] = ends.map((s) => snap(s, rate_hz)).sort((a, b) => a - b);
    if (!host.decide("not_locatable", {
      earliest_s,
      latest_s
    })) return false;
    Object.assign(host.channel() ?? {}, {
      interval_s: [
        earliest_s,
        latest_s
      ],
      bursts: []
    });
    select();
    host.refresh();
    return true;
  }
  function flush() {
    if (!timer) return;
    clearTimeout(timer);
    timer = void 0;
    put();
  }
  function nudge(by_s) {
    if (!ready()) return;
    const at_s = mark.at_s ?? where()?.s;
    if (at_s === void 0) {
      return host.notice(burst() ? `This burst has no ${mark.side} yet: put the cursor there, then the mark to the cursor.` : `There is no ${SIDE_WORDS[mark.side]} to move here: put the cursor there and add one.`);
    }
    mark.at_s = stepped2(at_s, by_s);
    clearTimeout(timer);
    timer = setTimeout(flush, NUDGE_MS2);
    host.refresh();
  }
  function add(side) {
    if (!ready()) return;
    const known = bursts().map(({ id }) => id);
    if (host.decide("add", {
      onset_s: snap(cursor_s, rate_hz)
    })) added = {
      ...host.place(),
      known,
      side
    };
    host.refresh();
  }
  function to_cursor() {
    if (!ready()) return;
    if (!burst() && !host.channel()?.interval_s) return add("onset");
    mark.at_s = snap(cursor_s, rate_hz);
    put();
  }
  const commands = {
    nudge: ({ arguments: { by_s } }) => nudge(by_s),
    cursor: ({ arguments: { by_s } }) => {
      cursor_s = within(stepped2(within(cursor_s, ...host.range()), by_s), first_s, last_s);
      host.refresh();
    },
    to_cursor,
    add: () => add("offset"),
    switch_side: () => {
      mark = {
        ...mark,
        side: OTHER_SIDE[mark.side],
        at_s: null
      };
      host.refresh();
    },
    next_burst: () => {
      const ids = bursts().map(({ id }) => id);
      const next = ids[((mark.burst == null ? -1 : ids.indexOf(mark.burst)) + 1) % ids.length];
      if (ids.length) mark = {
        burst: next,
        side: "onset",
        at_s: null
      };
      host.refresh();
    },
    remove: () => ready() && host.decide("remove", {
      burst: mark.burst
    }),
    confidence: ({ arguments: { confidence } }) => ready() && host.decide("confidence", {
      confidence,
      burst: mark.burst
    })
  };
  return {
    get mark() {
      return mark;
    },
    get cursor_s() {
      return cursor_s;
    },
    get hover_s() {
      return mark.at_s ?? hover_s;
    },
    get held_s() {
      return mark.at_s ?? where()?.s ?? null;
    },
    get nudged() {
      return timer !== void 0;
    },
    /** How much is pressed that is not yet sent. */
    get held() {
      return Number(timer !== void 0) + kept.length;
    },
    burst,
    select,
    put_interval,
    flush,
    to_cursor,
    commands,
    /** The interval to begin with: the present one, else the automatic one, else a little around the cursor.
     * @returns {Span} */
    interval() {
      const { interval_s = null, automatic } = host.channel() ?? {};
      return interval_s ?? [
        automatic?.low_s ?? cursor_s - 0.05,
        automatic?.high_s ?? cursor_s + 0.05
      ];
    },
    /** Keep what is pressed for an added burst until that has its id, and all that is pressed after it; true if kept.
     * @param {boolean} of_mark @param {() => void} run */
    keep(of_mark, run) {
      const keeps = coming() && !host.stopped() && (of_mark || kept.length > 0);
      if (keeps) kept.push(run);
      return keeps;
    },
    run_kept,
    drop_kept,
    forget_added() {
      added = null;
      return drop_kept();
    },
    let_go() {
      mark = {
        burst: null,
        side: "onset",
        at_s: null
      };
    },
    /** @param {{burst: string | null, side: Side}} taken */
    take({ burst: id, side }) {
      flush();
      mark = {
        burst: id,
        side,
        at_s: null
      };
      host.refresh();
    },
    /** @param {number} at_s */
    hold(at_s) {
      mark.at_s = snap(at_s, rate_hz);
      host.redraw();
    },
    put() {
      cursor_s = mark.at_s ?? cursor_s;
      put();
    },
    drop() {
      mark.at_s = null;
      host.refresh();
    },
    /** @param {number | null} s */
    hover(s) {
      hover_s = s;
      host.redraw();
    },
    /** @param {number} s */
    set_cursor(s) {
      cursor_s = within(snap(s, rate_hz), first_s, last_s);
      host.redraw();
    }
  };
}

// review/marks.js
function draw_interval(ctx, band, [from, to], { side, at_s }, px, colours) {
  const earliest = (side === "earliest" ? at_s : null) ?? from;
  const latest = (side === "latest" ? at_s : null) ?? to;
  const [a, b] = [
    px(earliest),
    px(latest)
  ];
  ctx.strokeStyle = colours.onset;
  ctx.lineWidth = 1;
  ctx.setLineDash([
    2,
    3
  ]);
  ctx.strokeRect(a, band.top + 3, b - a, band.height - 6);
  ctx.setLineDash([]);
  if (side === "earliest" || side === "latest") {
    ctx.fillStyle = colours.onset;
    ctx.fillRect((side === "earliest" ? a : b) - 1.5, band.top + 3, 3, band.height - 6);
  }
  plate(ctx, SIDE_WORDS.earliest, a - 4, band.top + band.height - 6, colours, "right", colours.onset);
  plate(ctx, SIDE_WORDS.latest, b + 4, band.top + band.height - 6, colours, "left", colours.onset);
}
function flags(state, ctx, px) {
  const wide = ctx.measureText("onset 9").width + 8;
  const candidates = (state.dispute?.candidates ?? []).flatMap(({ bursts }) => bursts);
  return [
    ...state.bursts.map(({ onset_s }) => (
      /** @type {Span} */
      [
        px(onset_s) - 2,
        px(onset_s) + wide
      ]
    )),
    ...candidates.map(({ onset_s }) => (
      /** @type {Span} */
      [
        px(onset_s) - 20,
        px(onset_s) + 20
      ]
    ))
  ];
}
function fit_sign(ctx, words, taken, width) {
  const rooms = [];
  let edge = width - 2;
  for (const [left, right] of taken.sort((a, b) => b[1] - a[1])) {
    if (right < edge) rooms.push([
      Math.max(0, right + 4),
      edge - 4
    ]);
    edge = Math.min(edge, left);
  }
  const long = ([left, right]) => right - left;
  const fits = (text, room2) => width_of(ctx, text) <= long(room2);
  const room = rooms.find((one) => fits(words, one)) ?? rooms.sort((a, b) => long(b) - long(a))[0] ?? [
    0,
    width - 6
  ];
  if (fits(words, room)) return [
    words,
    room[1]
  ];
  return [
    cut_to(ctx, words, long(room), 1) || "\u2026",
    room[1]
  ];
}
function draw_marks2(ctx, band, state, focused, mark, px, width, colours, { font_px: px_font, widths }) {
  const labels = [];
  const line2 = (s, { dash, colour, thick, words, side, low }) => {
    const x = Math.round(px(s)) + 0.5;
    if (x < -1 || x > width + 1) return;
    upright(ctx, px(s), band.top + 2, band.top + band.height - 2, {
      dash,
      colour,
      thick
    });
    if (!words) return;
    const wide = ctx.measureText(words).width;
    labels.push({
      words,
      left: side === "right" ? x + 4 : x - 4 - wide,
      wide,
      low: Boolean(low),
      colour,
      held: thick > 2
    });
  };
  for (const [k, { letter, bursts }] of (state.dispute?.candidates ?? []).entries()) {
    const look = {
      dash: k ? [
        2,
        3
      ] : [
        7,
        3
      ],
      colour: colours.ink,
      thick: 1.6,
      side: k ? "right" : "left"
    };
    for (const burst of bursts) {
      line2(burst.onset_s, {
        ...look,
        words: letter
      });
      if (burst.offset_s != null) line2(burst.offset_s, {
        ...look,
        words: `${letter} off`,
        low: true
      });
    }
  }
  const auto = state.automatic;
  if (auto.onset_s != null) {
    line2(auto.onset_s, {
      dash: [
        1,
        3
      ],
      colour: colours.automatic,
      thick: 1.2,
      words: focused && !state.interval_s ? "automatic" : "",
      side: "left",
      low: true
    });
  }
  for (const burst of state.bursts) {
    const selected = focused && burst.id === mark.burst;
    const held = (side) => selected && mark.side === side;
    const onset = (held("onset") ? mark.at_s : null) ?? burst.onset_s;
    const offset = (held("offset") ? mark.at_s : null) ?? burst.offset_s;
    const number = state.bursts.length > 1 ? ` ${state.bursts.indexOf(burst) + 1}` : "";
    const thick = (side) => held(side) ? 3 : 1.6;
    const words = `${focused ? "onset" : "on"}${number}`;
    line2(onset, {
      dash: [],
      colour: colours.onset,
      thick: thick("onset"),
      words,
      side: "right"
    });
    if (burst.half_width_s != null) {
      const half = px(onset + burst.half_width_s) - px(onset);
      const own = widths ? `\xB1 ${Number((burst.half_width_s * 1e3).toPrecision(3))} ms (own)` : "\xB1 (own)";
      draw_whisker(ctx, px(onset), half, band.top + 1.9 * px_font + 3, own, px_font, colours);
    }
    if (offset != null) {
      line2(offset, {
        dash: [
          6,
          3
        ],
        colour: colours.offset,
        thick: thick("offset"),
        words: `${focused ? "offset" : "off"}${number}`,
        side: "right",
        low: true
      });
    }
  }
  const written = [];
  for (const label of labels.sort((a, b) => Number(b.held) - Number(a.held))) {
    const [left, right] = [
      label.left - 2,
      label.left + label.wide + 2
    ];
    if (written.some((one) => one.low === label.low && left < one.left + one.wide && one.left < right)) continue;
    written.push(label);
    const y = label.low ? band.top + band.height - 6 : band.top + px_font + 1;
    plate(ctx, label.words, label.left, y, colours, "left", label.colour);
  }
}
function draw_whisker(ctx, x, half, y, words, px_font, colours) {
  ctx.strokeStyle = colours.onset;
  ctx.lineWidth = 1.4;
  ctx.beginPath();
  ctx.moveTo(x - half, y);
  ctx.lineTo(x + half, y);
  for (const end of [
    x - half,
    x + half
  ]) {
    ctx.moveTo(end, y - 3);
    ctx.lineTo(end, y + 3);
  }
  ctx.stroke();
  plate(ctx, words, x + Math.max(half, 2) + 5, y + 0.4 * px_font, colours, "left", colours.onset);
}

// review/scene.js
var HEAD_SHARE = 0.3;
var NAME_SHARE = 0.4;
function draw_trial(ctx, scene, traces, width, height) {
  const { setup, card, look, focus_row } = scene;
  const { font_px } = look;
  const colours = PALETTES[look.theme];
  const px = (s) => px_of(s, look.range, width);
  const bands = lay_bands(setup, height, font_px);
  ctx.font = `${font_px}px system-ui, sans-serif`;
  draw_behind(ctx, scene, bands, px, width, height, colours);
  ctx.drawImage(traces, 0, 0, width, height);
  plate(ctx, "rest", px(setup.rest_s[0]) + 3, height - 9, colours, "left", colours.faint);
  if (setup.plausible_s) {
    plate(ctx, "plausible", px(setup.plausible_s[1]) - 3, height - 2 * font_px - 6, colours, "right", colours.faint);
  }
  for (const band of bands) {
    if (!band.auxiliary) draw_aside2(ctx, card.channels[band.row].aside, band, px, width, colours);
    ctx.strokeStyle = colours.grid;
    ctx.lineWidth = 1;
    ctx.beginPath();
    ctx.moveTo(0, Math.round(band.top + band.height) - 0.5);
    ctx.lineTo(width, Math.round(band.top + band.height) - 0.5);
    ctx.stroke();
  }
  const heads = draw_lines(ctx, card.lines, px, width, height, colours);
  for (const band of bands) {
    if (band.auxiliary) name_auxiliary(ctx, scene, band, width, colours);
    else draw_channel(ctx, scene, band, px, width, colours);
  }
  write_heads(ctx, heads, width, font_px, colours);
  draw_cursor(ctx, scene, bands[focus_row], px, width, height, colours);
}
function draw_behind(ctx, { setup, card, look, focus_row, trial, typical }, bands, px, width, height, colours) {
  const here = bands[focus_row];
  ctx.fillStyle = colours.band;
  ctx.fillRect(0, here.top, width, here.height);
  const [rest_from, rest_to] = setup.rest_s.map(px);
  ctx.fillStyle = colours.rest;
  ctx.fillRect(rest_from, 0, rest_to - rest_from, height);
  if (setup.plausible_s) shade_plausible(ctx, setup.plausible_s, px, height, colours);
  for (const band of bands) {
    if (band.auxiliary) continue;
    const usual = typical.get(`${trial.recording}|${band.row}`);
    if (usual) draw_typical(ctx, usual, band, trial.full_scale[band.row] / look.gain, setup.start_s, px, colours);
    const { low_s, high_s } = card.channels[band.row].automatic;
    if (low_s == null || high_s == null) continue;
    ctx.fillStyle = colours.interval;
    ctx.fillRect(px(low_s), band.top + 1, Math.max(2, px(high_s) - px(low_s)), band.height - 2);
  }
}
function draw_lines(ctx, lines, px, width, height, colours) {
  const heads = [];
  for (const { kind, at_s, words } of lines) {
    const x = Math.round(px(at_s)) + 0.5;
    if (x < 0 || x > width) continue;
    upright(ctx, px(at_s), 0, height, {
      colour: colours.ink,
      ...LINES[kind]
    });
    heads.push({
      words,
      x
    });
  }
  return heads;
}
function write_heads(ctx, heads, width, font_px, colours) {
  let edge = -Infinity;
  for (const { words, x } of heads.sort((a, b) => a.x - b.x)) {
    const said = cut_to(ctx, words, HEAD_SHARE * width);
    const wide = width_of(ctx, said) + 8;
    const left = Math.min(Math.max(x + 3, edge), width - wide);
    plate(ctx, said, left, font_px + 2, colours);
    edge = left + wide;
  }
}
function name_auxiliary(ctx, { setup, trial, look }, band, width, colours) {
  const { label, unit_label } = setup.channels[band.row];
  const { limits = [] } = trial.traces.find((trace) => trace.row === band.row) ?? {};
  const [low, high] = limits.map((value) => Number(value.toPrecision(3)));
  const words = look.blind ? `${label}: hidden in a blind review` : `${label} (${unit_label}), ${low} to ${high}`;
  plate(ctx, cut_to(ctx, words, width - 12), 6, band.top + look.font_px + 1, colours);
}
function draw_channel(ctx, { setup, card, trial, look, mark, focus_row }, band, px, width, colours) {
  const { row } = band;
  const { font_px, gain } = look;
  const channel = setup.channels[row];
  const state = card.channels[row];
  const y = band.top + font_px + 1;
  ctx.font = `${row === focus_row ? "bold " : ""}${font_px}px system-ui, sans-serif`;
  const taken = flags(state, ctx, px);
  const long_name = channel.label + (channel.over ? ` \xB7 over ${channel.over}` : "");
  const first_px = Math.min(...taken.map(([left]) => left).filter((left) => left > 0), width);
  const whole = long_name.length < 100 && width_of(ctx, long_name) + 8 < first_px;
  const name = whole ? long_name : cut_to(ctx, channel.label, NAME_SHARE * width, 1);
  plate(ctx, name, 6, y, colours);
  const named = [
    0,
    width_of(ctx, name) + 8
  ];
  const [words, right] = fit_sign(ctx, `${state.sign} ${state.words}`, [
    named,
    ...taken
  ], width);
  plate(ctx, words, right, y, colours, "right", state.reviewed ? colours.ink : colours.faint);
  ctx.font = `${font_px}px system-ui, sans-serif`;
  draw_scale_bar(ctx, band, channel, trial.full_scale[row] / gain, trial.level_words[row], colours);
  if (state.interval_s) draw_interval(ctx, band, state.interval_s, row === focus_row ? mark : {}, px, colours);
  draw_marks2(ctx, band, state, row === focus_row, mark, px, width, colours, look);
}
function draw_cursor(ctx, { setup, look, cursor_s, hover_s }, here, px, width, height, colours) {
  const time = (s) => look.read_out ? ms_words(s) : "";
  const line2 = (s, words, low, dash = []) => {
    if (s < look.range[0] || s > look.range[1]) return;
    upright(ctx, px(s), 0, height, {
      colour: colours.faint,
      dash
    });
    const x = Math.round(px(s)) + 6.5;
    if (words) plate(ctx, words, Math.min(x, width - ctx.measureText(words).width - 3), height - low, colours);
  };
  line2(cursor_s, `cursor ${time(cursor_s)}`.trim(), 6);
  if (look.smear) draw_smear(ctx, setup.smear, cursor_s, here, px, colours, look.widths);
  if (hover_s != null) line2(hover_s, time(hover_s), look.font_px + 12, [
    1,
    2
  ]);
}

// review/traces.js
function trace_path(ctx, samples, step_s, t0, x0, x1, width, to_y) {
  const per_px = (x1 - x0) / width / step_s;
  const first = Math.max(0, Math.floor((x0 - t0) / step_s) - 1);
  const last = Math.min(samples.length - 1, Math.ceil((x1 - t0) / step_s) + 1);
  const px = (i) => (t0 + i * step_s - x0) / (x1 - x0) * width;
  ctx.beginPath();
  let pen = false;
  if (per_px <= 2) {
    for (let i = first; i <= last; i++) {
      const v = samples[i];
      if (v === MISSING) {
        pen = false;
        continue;
      }
      if (pen) ctx.lineTo(px(i), to_y(v));
      else ctx.moveTo(px(i), to_y(v));
      pen = true;
    }
  } else {
    let i = first;
    while (i <= last) {
      const column = Math.floor(px(i));
      let low = Infinity;
      let high = -Infinity;
      const entry = samples[i];
      while (i <= last && Math.floor(px(i)) === column) {
        const v = samples[i++];
        if (v === MISSING) continue;
        if (v < low) low = v;
        if (v > high) high = v;
      }
      if (low > high) {
        pen = false;
        continue;
      }
      const x = column + 0.5;
      if (pen && entry !== MISSING) ctx.lineTo(x, to_y(entry));
      else ctx.moveTo(x, to_y(low));
      ctx.lineTo(x, to_y(low));
      ctx.lineTo(x, to_y(high));
      pen = true;
    }
  }
  ctx.stroke();
}
function draw_traces(ctx, trial, setup, look, width, height) {
  const colours = PALETTES[look.theme];
  const [x0, x1] = look.range;
  const t0 = setup.start_s;
  const bands = lay_bands(setup, height, look.font_px);
  const pick = ({ row }, kind) => (
    /** @type {Samples} */
    trial.traces.find((trace) => trace.row === row && trace.kind === kind)
  );
  ctx.lineJoin = "round";
  for (const band of bands) {
    ctx.save();
    ctx.beginPath();
    ctx.rect(0, band.top, width, band.height);
    ctx.clip();
    if (band.auxiliary) {
      if (look.blind) {
        ctx.restore();
        continue;
      }
      const trace = pick(band, "auxiliary");
      const [low, high] = trace.limits;
      const scale = (band.height - 18) / (high - low || 1);
      const to_y = (v) => band.top + band.height - 5 - (v * trace.scale - low) * scale;
      ctx.strokeStyle = colours.auxiliary;
      ctx.lineWidth = 1.2;
      trace_path(ctx, trace.samples, trace.step_s, t0, x0, x1, width, to_y);
    } else {
      const raw = pick(band, "raw");
      const envelope = pick(band, "envelope");
      const full = trial.full_scale[band.row] / look.gain;
      const split = band.top + band.height * 0.4;
      const rise = (split - band.top - 6) / full;
      const up = (v, scale) => split - v * scale * rise;
      ctx.lineWidth = 1;
      ctx.strokeStyle = colours.rectified;
      trace_path(ctx, rectify(raw), raw.step_s, t0, x0, x1, width, (v) => up(v, raw.scale));
      ctx.strokeStyle = colours.envelope;
      ctx.lineWidth = 1.4;
      trace_path(ctx, envelope.samples, envelope.step_s, t0, x0, x1, width, (v) => up(v, envelope.scale));
      const middle = (split + band.top + band.height) / 2;
      const swing = (band.height * 0.6 - 4) / 2 / full;
      ctx.lineWidth = 1;
      ctx.strokeStyle = colours.raw;
      trace_path(ctx, raw.samples, raw.step_s, t0, x0, x1, width, (v) => middle - v * raw.scale * swing);
    }
    ctx.restore();
  }
}
function rectify(trace) {
  if (!trace.rectified) {
    trace.rectified = trace.samples.map((v) => v === MISSING ? v : Math.abs(v));
  }
  return trace.rectified;
}

// review/painting.js
var IDLE_MS = 30;
var KEPT = 8;
function make_painting(review) {
  const { setup, store, screen, state } = review;
  const { root } = screen;
  const prepared = /* @__PURE__ */ new Map();
  let idle;
  let lettered = 0;
  let dress = () => {
  };
  const look_now = (layer) => ({
    range: layer.range(),
    gain: state.gain,
    theme: theme_of(root),
    read_out: state.times_shown(),
    widths: state.read_out,
    smear: state.smear,
    blind: state.blind,
    font_px: canvas_font_px()
  });
  function traces_image(trial, size, look) {
    const key = [
      trial.index,
      size.width,
      size.height,
      ...look.range,
      look.gain,
      look.theme,
      look.font_px,
      look.blind
    ].join("|");
    const known = prepared.get(key);
    if (known) return known;
    const canvas = document.createElement("canvas");
    const ratio = window.devicePixelRatio || 1;
    canvas.width = Math.round(size.width * ratio);
    canvas.height = Math.round(size.height * ratio);
    const ctx = context_of(canvas);
    ctx.scale(ratio, ratio);
    draw_traces(ctx, trial, setup, look, size.width, size.height);
    prepared.set(key, canvas);
    for (const oldest of prepared.keys()) {
      if (prepared.size <= KEPT) break;
      prepared.delete(oldest);
    }
    return canvas;
  }
  function differences() {
    const differs = state.gain === 1 ? [] : [
      `gain \xD7 ${state.gain}`
    ];
    if (!at_usual_span()) differs.push("time span moved");
    else if (state.span) differs.push("close-up time span");
    return differs;
  }
  function at_usual_span() {
    const wanted = setup.spans[state.span];
    return state.range().every((s, i) => Math.abs(s - wanted[i]) <= 1e-6);
  }
  function draw(layer) {
    const ctx = context_of(layer.canvas);
    const size = layer.frame();
    const ratio = window.devicePixelRatio || 1;
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    ctx.clearRect(0, 0, size.width, size.height);
    const { index } = state;
    const trial = store.trials.get(index);
    const card = state.card();
    screen.waiting.hidden = state.loaded();
    if (!trial || !card) {
      set_text(screen.waiting, `loading trial ${state.count()} \u2026`);
      return;
    }
    const look = look_now(layer);
    const { mark, cursor_s, hover_s } = review.selection;
    const typical = state.blind ? /* @__PURE__ */ new Map() : store.typical;
    const scene = {
      setup,
      trial,
      card,
      look,
      focus_row: state.row,
      mark,
      cursor_s,
      hover_s,
      typical
    };
    draw_trial(ctx, scene, traces_image(trial, size, look), size.width, size.height);
    const differs = differences();
    screen.differs.hidden = !differs.length;
    set_text(screen.differs, `differs from the usual view: ${differs.join(", ")}`);
    root.dataset.painted = String(index);
    root.dataset.cursor = String(cursor_s);
    if (state.shown.index !== index) state.shown = {
      index,
      since: performance.now()
    };
  }
  function paint_overview() {
    if (screen.overview.hidden || !state.layer) return;
    const { row, index, sort } = state;
    const order = overview_order(store, row, sort);
    const reading = store.untold ? ` (${store.untold} of ${store.order.length} still being read)` : "";
    const words = `All trials of ${state.label()}, by ${SORTS[sort][0]}${reading}: onset to offset${state.blind ? "" : ", \xA6 response"}`;
    set_cut_text(screen.over_title, words);
    const range = setup.spans[0];
    const scene = {
      summaries: store.summaries,
      order,
      row,
      index,
      range,
      theme: theme_of(root),
      font_px: canvas_font_px()
    };
    screen.overview_hit = draw_overview(screen.over_map, scene);
    const at = `overview of ${brief(state.label())}: row ${order.indexOf(index) + 1} of ${order.length}`;
    screen.over_map.setAttribute("aria-label", at);
  }
  function paint_rest() {
    const { layer } = state;
    const font_px = canvas_font_px();
    if (layer && lettered !== font_px) return dress();
    if (layer) {
      for (const i of review.lists.coming().slice(1, 4)) {
        const trial = store.trials.get(i);
        if (trial) traces_image(trial, layer.frame(), look_now(layer));
      }
    }
    const statuses = store.order.map((i) => store.summaries[i]?.[0] ?? "not read yet");
    const map = {
      order: store.order,
      statuses,
      place: store.place(state.index)
    };
    screen.paint_map(map, PALETTES[theme_of(root)], Math.round(font_px));
    paint_overview();
    if (!screen.spectrum.hidden) review.moving.ask_spectrum();
  }
  function refresh() {
    state.layer?.redraw();
    review.words.write();
    store.want(review.lists.coming());
    clearTimeout(idle);
    idle = setTimeout(paint_rest, IDLE_MS);
  }
  return {
    draw,
    refresh,
    at_usual_span,
    /** The letters are those of the page from now on.
     * @param {() => void} again  dresses the screen, once they are not */
    dressed(again) {
      dress = again;
      lettered = canvas_font_px();
    },
    close: () => clearTimeout(idle)
  };
}

// review/player.js
function make_player() {
  let context = null;
  return {
    /** @param {Trace & {rate_hz: number}} sound */
    play({ samples, scale, rate_hz }) {
      if (!samples.length) return {
        seconds: 0,
        state: "nothing"
      };
      context ??= new AudioContext();
      context.resume();
      const buffer = context.createBuffer(1, samples.length, rate_hz);
      buffer.getChannelData(0).set(Float32Array.from(samples, (v) => v * scale));
      const source = context.createBufferSource();
      source.buffer = buffer;
      source.connect(context.destination);
      source.start();
      return {
        seconds: samples.length / rate_hz,
        state: context.state
      };
    },
    close: () => context?.close()
  };
}

// review/pointer.js
var STILL_PX2 = 3;
var REACH_PX2 = 7;
function listen_to_pointer2(picture, selection, view) {
  let drag = null;
  let press = null;
  function place(event) {
    const layer = view.layer();
    return layer && place_of(event, layer, view.bands);
  }
  const row_of = ({ band }) => band && !band.auxiliary ? band.row : null;
  function near(at) {
    const row = row_of(at);
    const channel = row == null ? null : view.channel(row);
    return channel ? nearest(marks_of(channel), at.s, REACH_PX2 * at.s_per_px) : null;
  }
  function let_go() {
    press = null;
    if (!drag) return false;
    drag = null;
    selection.drop();
    return true;
  }
  function on_down(event) {
    press = null;
    const at = place(event);
    if (!at?.inside || event.button !== 0) return;
    const mark = near(at);
    const row = row_of(at);
    if (row != null && !view.face(row)) return;
    if (!mark) {
      press = at;
      return;
    }
    event.stopPropagation();
    event.preventDefault();
    selection.take(mark);
    drag = {
      from_s: mark.s,
      grabbed_s: at.s,
      from_x: at.x,
      moved: false
    };
    picture.setPointerCapture(event.pointerId);
  }
  function on_move(event) {
    const at = place(event);
    if (!at) return;
    if (drag) {
      event.stopPropagation();
      drag.moved ||= Math.abs(at.x - drag.from_x) >= STILL_PX2;
      if (drag.moved) selection.hold(drag.from_s + at.s - drag.grabbed_s);
      return;
    }
    if (press && Math.abs(at.x - press.x) >= STILL_PX2) press = null;
    if (at.inside) picture.style.cursor = near(at) ? "ew-resize" : "";
    selection.hover(at.inside ? at.s : null);
  }
  function on_up(event) {
    if (press) selection.set_cursor(press.s);
    press = null;
    if (!drag) return;
    event.stopPropagation();
    const { moved, grabbed_s } = drag;
    drag = null;
    if (moved) return selection.put();
    selection.drop();
    selection.set_cursor(grabbed_s);
  }
  function on_double(event) {
    const at = place(event);
    if (!at?.inside || event.button !== 0) return;
    const row = row_of(at);
    if (row == null || near(at) || !view.face(row)) return;
    selection.set_cursor(at.s);
    selection.to_cursor();
  }
  picture.addEventListener("pointerdown", on_down, true);
  picture.addEventListener("pointermove", on_move, true);
  picture.addEventListener("pointerup", on_up, true);
  picture.addEventListener("dblclick", on_double, true);
  picture.addEventListener("pointerleave", () => selection.hover(null));
  picture.addEventListener("pointercancel", let_go, true);
  picture.addEventListener("lostpointercapture", let_go, true);
  return {
    let_go,
    get dragging() {
      return drag != null;
    },
    /** How much is dragged that is not yet sent. */
    get held() {
      return Number(Boolean(drag?.moved));
    },
    /** The page goes: what is dragged is put where it is. */
    put() {
      if (!drag?.moved) return;
      drag = null;
      selection.put();
    }
  };
}

// review/queue_map.js
var DRAWN_PX = 11;
function cell_at(x, y, { per_row, cell, n }) {
  const i = Math.floor(y / cell) * per_row + Math.floor(x / cell);
  return i >= 0 && i < n ? i : void 0;
}
function make_queue_map(go_to) {
  const map = h("canvas", {
    class: "map",
    tabindex: -1,
    role: "img"
  });
  const element = h("div", {
    class: "map-frame"
  }, map);
  let laid = {
    per_row: 1,
    cell: DRAWN_PX,
    n: 0
  };
  let shown2 = [];
  map.addEventListener("click", (event) => {
    const place = cell_at(event.offsetX, event.offsetY, laid);
    go_to(place === void 0 ? void 0 : shown2[place]);
  });
  function paint({ order, statuses, place }, colours, cell) {
    shown2 = order;
    const per_row = Math.max(1, Math.floor((element.clientWidth - 4) / cell));
    laid = {
      per_row,
      cell,
      n: order.length
    };
    const [width, height] = [
      per_row * cell,
      Math.ceil(statuses.length / per_row) * cell
    ];
    const ratio = window.devicePixelRatio || 1;
    Object.assign(map, {
      width: width * ratio,
      height: height * ratio
    });
    Object.assign(map.style, {
      width: `${width}px`,
      height: `${height}px`
    });
    const ctx = context_of(map);
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    ctx.clearRect(0, 0, width, height);
    ctx.scale(cell / DRAWN_PX, cell / DRAWN_PX);
    statuses.forEach((status, i) => {
      const [x, y] = [
        i % per_row * DRAWN_PX + 1.5,
        Math.floor(i / per_row) * DRAWN_PX + 1.5
      ];
      draw_sign(ctx, status, x, y, colours.ink);
      if (i !== place) return;
      ctx.strokeStyle = colours.envelope;
      ctx.lineWidth = 2;
      ctx.strokeRect(x - 1, y - 1, 10, 10);
    });
    map.setAttribute("aria-label", `map of ${statuses.length} trials, at ${place + 1}`);
  }
  return {
    element,
    paint
  };
}
function draw_sign(ctx, status, x, y, ink) {
  ctx.strokeStyle = ctx.fillStyle = ink;
  ctx.lineWidth = 1;
  if (status === "not read yet") return ctx.fillRect(x + 3.5, y + 3.5, 1.5, 1.5);
  if (status === "to discuss") {
    ctx.beginPath();
    ctx.moveTo(x + 4, y);
    ctx.lineTo(x + 8, y + 4);
    ctx.lineTo(x + 4, y + 8);
    ctx.lineTo(x, y + 4);
    ctx.closePath();
    ctx.stroke();
    return;
  }
  ctx.strokeRect(x + 0.5, y + 0.5, 7, 7);
  if (status === "reviewed") ctx.fillRect(x + 2, y + 2, 4, 4);
  if (status === "begun") ctx.fillRect(x + 1, y + 1, 3, 6);
}

// review/screen.js
var MOUSE3 = "a click sets the cursor, a double click puts the selected mark there, a mark can be dragged.";
function make_screen3(setup, figure, act) {
  const frame = make_frame(setup, act, () => root, {
    what: "review",
    mouse: MOUSE3
  });
  const { asking, key_card, differs, foot, live: live2 } = frame;
  const title = h("span", {
    class: "title"
  });
  const progress = h("progress", {
    max: 1,
    value: 0,
    "aria-label": `share of ${setup.counted}`
  });
  const counted = h("span", {
    class: "counted"
  });
  const stepping = h("span", {
    class: "chip stepping",
    hidden: true
  });
  const awaited = h("div", {
    class: "awaited",
    role: "status",
    hidden: true
  });
  const blind = h("span", {
    class: "chip",
    hidden: true
  }, "blind");
  const count = h("span", {
    class: "count"
  }, progress, counted);
  const { saved, keys_on, card_button } = frame;
  const head = h("div", {
    class: "head"
  }, title, count, blind, stepping, saved, keys_on, card_button);
  const waiting = h("div", {
    class: "waiting",
    hidden: true
  });
  const picture = h("div", {
    class: "picture"
  }, figure, waiting, differs);
  const over_title = h("div", {
    class: "over-title"
  });
  const over_map = h("canvas", {
    class: "over-map",
    role: "img"
  });
  const legend2 = h("div", {
    class: "legend"
  }, ...setup.signs.map(([sign, words]) => h("span", {}, `${sign} ${words}`)));
  const overview = h("div", {
    class: "overview"
  }, over_title, over_map, legend2);
  const spectrum_map = h("canvas", {
    class: "spectrum-map",
    role: "img",
    "aria-label": "spectrum of burst and rest"
  });
  const spectrum = h("div", {
    class: "spectrum",
    hidden: true
  }, h("h4", {}, "Spectrum"), spectrum_map);
  const rows = setup.channels.map((channel, row) => channel.auxiliary ? null : h("button", {
    class: "row",
    onclick: () => act({
      command: "channel",
      row
    })
  }, h("span", {
    class: "sign"
  }), h("span", {
    class: "name"
  }, brief(channel.label)), h("span", {
    class: "state"
  })));
  const detail = h("p", {
    class: "detail"
  });
  const groups = button_groups(setup.keys, (key) => ({
    title: key.words,
    onclick: () => act(key)
  }));
  const queue_map = make_queue_map(go_to);
  const queue = h("div", {
    class: "queue"
  }, h("h4", {}, "All trials in order: \u25A1 open, \u25E7 begun, \u25A3 reviewed, \u25C7 to discuss. ", "Click one to go there."), queue_map.element);
  const side = h("div", {
    class: "side"
  }, h("h4", {}, "Channels of this trial"), ...rows, detail, spectrum, ...[
    ...groups
  ].flatMap(([group, buttons]) => [
    h("h4", {}, group),
    buttons
  ]));
  const root = h("div", {
    class: "emgreview",
    tabindex: 0,
    role: "application",
    "aria-label": `review of EMG trials; the key ${card_key(setup.keys)} shows the keys`
  }, head, awaited, frame.notes.element, frame.notice.element, h("div", {
    class: "body"
  }, asking.form, overview, h("div", {
    class: "main"
  }, picture, queue), side), foot, live2, key_card.element);
  keep_keys(root, asking.form, key_card.element);
  function go_to(index) {
    if (index !== void 0) act({
      command: "trial",
      index
    });
    root.focus();
  }
  over_map.addEventListener("click", (event) => go_to(screen.overview_hit(event.offsetY)));
  function row_parts(row) {
    const button = (
      /** @type {HTMLButtonElement} */
      rows[row]
    );
    const [sign, , words] = button.children;
    return {
      button,
      sign,
      words,
      cut: words.scrollWidth > words.clientWidth
    };
  }
  let scroller = null;
  function reveal(top, height) {
    if (!scroller?.isConnected) scroller = scrolled_by(root);
    const [from, to] = shown_by(scroller);
    const at = picture.getBoundingClientRect().top + top;
    const high = Math.min(height, to - from);
    if (at >= from && at + high <= to) return;
    const head_at = root.getBoundingClientRect().top;
    if (at + high > to) scroller.scrollTop += at + high - to;
    else scroller.scrollTop += (at + high - head_at <= to - from ? head_at : at) - from;
  }
  const screen = {
    ...frame,
    root,
    picture,
    title,
    progress,
    counted,
    blind,
    stepping,
    awaited,
    waiting,
    row_parts,
    detail,
    overview,
    over_title,
    over_map,
    spectrum,
    spectrum_map,
    paint_map: queue_map.paint,
    reveal,
    /** Which trial lies at a height of the overview, as it was painted last.
     * @type {(y: number) => number | undefined} */
    overview_hit: () => void 0
  };
  return screen;
}

// review/state.js
function make_state3(setup, store) {
  const closing = new Set(setup.keys.filter((key) => key.goes_on).map((key) => key.command));
  const state = {
    index: setup.where,
    row: 0,
    awaited: true,
    gain: 1,
    span: 0,
    sort: 0,
    read_out: true,
    smear: false,
    spectrum_for: "",
    progress: setup.progress,
    blind: setup.blind,
    awaited_words: setup.awaited,
    shown: {
      index: -1,
      since: 0
    },
    layer: (
      /** @type {Layer | null} */
      null
    )
  };
  return Object.assign(state, {
    emg_rows: setup.channels.flatMap((channel, row) => channel.auxiliary ? [] : [
      row
    ]),
    card: () => store.cards.get(state.index),
    here: () => store.cards.get(state.index)?.channels[state.row],
    loaded: () => store.trials.has(state.index) && store.cards.has(state.index),
    /** The number of a trial as people count, in the order of the review. */
    count: (i = state.index) => store.place(i) + 1,
    label: (row = state.row) => setup.channels[row].label,
    times_shown: () => state.read_out && !state.blind,
    /** @param {Card | undefined} card */
    titled: (card) => state.read_out ? card?.title : card?.bare_title,
    /** The time on the screen.
     * @returns {Span} */
    range: () => state.layer?.range() ?? setup.spans[0],
    /** Whether a command closes a channel, so that the screen goes on.
     * @param {string} command */
    closes: (command) => closing.has(command),
    /** Whether a channel is decided, or a decision on its way will have it decided.
     * @param {number} i @param {number} row */
    decided(i, row) {
      const card = store.cards.get(i)?.channels[row];
      if (card?.reviewed ?? store.summaries[i]?.[2][row][4]) return true;
      return store.pending.some(({ index, command, channel }) => index === i && closing.has(command) && (command === "accept_rest" ? !card?.unfit : channel === setup.channels[row].label));
    }
  });
}

// review/store.js
var AHEAD2 = 60;
var BEHIND = 12;
var CHUNK = 10;
var PAGE = 100;
function make_store2(model, setup) {
  const trials = /* @__PURE__ */ new Map();
  const cards = /* @__PURE__ */ new Map();
  const typical = /* @__PURE__ */ new Map();
  const summaries = [];
  const untold = /* @__PURE__ */ new Set();
  let order = [];
  let places = [];
  for (const [i, summary] of Object.entries(setup.summaries)) summaries[Number(i)] = summary;
  const wire = make_wire(model, {
    shown: () => [
      ...cards.keys()
    ]
  });
  const { client } = wire;
  let asked = 0;
  let page_asked = 0;
  function line_up({ n_trials, order: told }) {
    for (let i = places.length; i < n_trials; i++) if (!summaries[i]) untold.add(i);
    order = told ?? [
      ...Array(n_trials).keys()
    ];
    places = Array(n_trials);
    order.forEach((i, place) => {
      places[i] = place;
    });
  }
  line_up(setup);
  function keep(card) {
    if (!((cards.get(card.index)?.serial ?? -1) > card.serial)) cards.set(card.index, card);
  }
  wire.listen((update) => {
    for (const card of update.cards ?? []) keep(card);
    if (update.page_anew) {
      for (const i of order) untold.add(i);
    }
    for (const [i, summary] of Object.entries(update.summaries ?? {})) {
      summaries[Number(i)] = summary;
      untold.delete(Number(i));
      page_asked = 0;
    }
    if (update.joined) line_up(update.joined);
    for (const i of update.forget ?? []) trials.delete(i);
    if (update.renew) wire.insist("everything", [
      ...cards.keys()
    ]);
  });
  function on_pack() {
    if (!model.pack?.byteLength) return;
    asked = 0;
    const { head, fill } = unpack(model.pack);
    for (const trial of head.trials) {
      trial.traces.forEach(fill);
      trials.set(trial.index, trial);
      keep(trial.card);
    }
    for (const usual of head.typical) {
      for (const part of [
        "lower",
        "median",
        "upper"
      ]) fill(usual[part]);
      typical.set(`${usual.recording}|${usual.row}`, usual);
    }
    wire.tell({
      trials: head.trials.map((trial) => trial.index)
    });
  }
  function on_sound() {
    if (!model.sound?.byteLength) return;
    const { head, fill } = unpack(model.sound);
    if (head.client.startsWith(`${client} `)) wire.tell({
      sound: {
        ...fill(head.trace),
        rate_hz: head.rate_hz
      }
    });
  }
  for (const name of [
    "pack",
    "sound"
  ]) model.properties[name].internal = true;
  model.on("pack", on_pack);
  model.on("sound", on_sound);
  return {
    client,
    trials,
    cards,
    typical,
    summaries,
    get order() {
      return order;
    },
    /** Trials whose summaries are not known, or not as they are by now. */
    get untold() {
      return untold.size;
    },
    /** Where a trial is in the order of the review, from 0.
     * @param {number} i */
    place: (i) => places[i] ?? 0,
    pending: wire.pending,
    get stopped() {
      return wire.stopped;
    },
    get held() {
      return wire.held;
    },
    get doubtful() {
      return wire.doubtful;
    },
    hold: wire.hold,
    listen: wire.listen,
    ask: wire.send,
    /** Called a few times a second.
     * @param {boolean} attentive */
    watch(attentive) {
      wire.watch(attentive);
      if (asked && performance.now() - asked > PATIENCE_MS) asked = 0;
    },
    /** Ask for summaries that are not known, those after a trial first; nothing while some are on their way.
     * @param {number} near */
    want_page(near) {
      const now = performance.now();
      if (!untold.size || page_asked && now - page_asked < PATIENCE_MS) return;
      page_asked = now;
      const at = places[near] ?? 0;
      const wanted = [];
      for (let step = 0; step < order.length && wanted.length < PAGE; step++) {
        const i = order[(at + step) % order.length];
        if (untold.has(i)) wanted.push(i);
      }
      wire.send("page", {
        trials: wanted
      });
    },
    /** Ask for the trials around where the review stands; what a former screen was told is not read. */
    say_hello: () => wire.insist("hello"),
    /** @param {number[]} indices */
    renew: (indices) => wire.insist("everything", indices),
    decide: wire.decide,
    /** Ask for trials that are not here, in the order in which they will be needed.
     * @param {number[]} wanted */
    want(wanted) {
      if (asked) return;
      const needed = wanted.slice(0, AHEAD2 + BEHIND);
      const missing2 = needed.filter((i) => !trials.has(i));
      const soon = missing2.length && needed.indexOf(missing2[0]) < AHEAD2 / 2;
      if (!missing2.length || missing2.length < CHUNK / 2 && !soon) return;
      asked = performance.now();
      wire.send("want", {
        trials: missing2.slice(0, CHUNK)
      });
      if (trials.size < 4 * AHEAD2) return;
      const near = new Set(needed);
      for (const known of [
        ...trials.keys()
      ].slice(0, AHEAD2)) if (!near.has(known)) trials.delete(known);
    },
    close() {
      model.off?.("pack", on_pack);
      model.off?.("sound", on_sound);
      wire.close();
    }
  };
}

// review/trial_lists.js
function make_trial_lists(setup, store, screen, review) {
  let list = null;
  let searched = null;
  const ask = (which, more = {}) => {
    searched = {
      kind: "list",
      data: {
        which,
        ...more
      },
      words: which
    };
    store.ask("list", searched.data);
  };
  function coming() {
    const index = review.index();
    if (list) {
      const at2 = Math.max(0, list.indices.indexOf(index));
      return [
        index,
        ...list.indices.slice(at2 + 1, at2 + AHEAD2),
        ...list.indices.slice(Math.max(0, at2 - BEHIND), at2)
      ];
    }
    const { order } = store;
    const at = store.place(index);
    const out = [
      index
    ];
    for (let step2 = 1; step2 <= AHEAD2; step2++) {
      if (at + step2 < order.length) out.push(order[at + step2]);
      if (step2 <= BEHIND && at - step2 >= 0) out.push(order[at - step2]);
    }
    return out;
  }
  function step(by) {
    const index = review.index();
    if (!list) return review.show(store.order[store.place(index) + by] ?? index);
    const { indices } = list;
    const next = indices[index === indices[list.at] ? list.at + by : list.at];
    if (next !== void 0) return review.show(next);
    if (by > 0 && list.words === setup.audit_list) return ask(list.words);
    screen.notice.pass("This is the end of the trials you step through.");
  }
  function next_where(test) {
    const all = list?.indices ?? store.order;
    const at = all.indexOf(review.index());
    return [
      ...all.slice(at + 1),
      ...all.slice(0, at + 1)
    ].find(test);
  }
  function choose() {
    const further = [
      {
        code: "KeyM",
        words: "methods",
        shown: "two methods differ by more than \u2026",
        ask: choose_methods
      },
      {
        code: "KeyR",
        words: "reviewers",
        shown: "another reviewer decided otherwise \u2026",
        ask: choose_reviewer
      },
      {
        code: "KeyB",
        words: "behaviour",
        shown: "by what the person did \u2026",
        ask: choose_behaviour
      }
    ];
    screen.asking.choose("Step through which trials?", [
      ...setup.choices.list,
      ...further
    ], false, ([which]) => {
      const form = further.find(({ words }) => words === which);
      if (form) return form.ask();
      if (which !== setup.choices.list[0].words) return ask(which);
      list = searched = null;
      review.refresh();
    });
  }
  function choose_reviewer() {
    screen.asking.ask("Trials that another reviewer of this folder decided otherwise:", [
      {
        name: "reviewer",
        words: "code of that reviewer",
        value: ""
      },
      {
        name: "by",
        words: "or whose onset lies further away than, in ms",
        type: "number",
        value: 10
      }
    ], ({ reviewer, by }) => ask(`otherwise than ${reviewer}`, {
      reviewer,
      by_s: by / 1e3
    }), MOVES);
  }
  function choose_behaviour() {
    screen.asking.choose("Trials in which the person did what?", setup.choices.behaviour, false, ([behaviour]) => ask(`behaviour: ${behaviour}`, {
      behaviour
    }));
  }
  function choose_methods() {
    const methods = setup.choices.method;
    screen.asking.choose("Compare which method \u2026", methods, false, ([one]) => screen.asking.choose(`Compare "${one}" with which?`, methods.filter(({ words }) => words !== one), false, ([other2]) => screen.asking.ask(`Trials where the onsets of "${one}" and "${other2}" differ:`, [
      {
        name: "by",
        words: "by more than, in ms",
        type: "number",
        value: 20
      }
    ], ({ by }) => {
      const data = {
        methods: [
          one,
          other2
        ],
        by_s: by / 1e3
      };
      searched = {
        kind: "compare",
        data: {
          ...data,
          begin: false
        },
        words: `"${one}" beside "${other2}"`
      };
      screen.notice.pass(`${searched.words}: begun \u2026`);
      store.ask("compare", {
        ...data,
        begin: true
      });
    }, MOVES)));
  }
  function hear(what) {
    if (what.searching?.client === store.client) {
      if (!searched || searched.words !== what.searching.words) return true;
      screen.notice.pass(`${searched.words}: ${Math.round(100 * what.searching.share)} % done. Go on reviewing; stepping through them begins when it is done.`);
      store.ask(searched.kind, searched.data);
      return true;
    }
    if (what.audit?.client === store.client) {
      end_audit(what.audit);
      return false;
    }
    if (what.list?.client !== store.client) return false;
    searched = null;
    if (!what.list.indices.length) {
      screen.notice.pass(`No trial here: ${what.list.words}.`);
      return true;
    }
    const { words, indices, rows } = what.list;
    list = {
      words,
      indices,
      rows,
      at: Math.max(0, indices.indexOf(review.index()))
    };
    screen.notice.pass("");
    review.arrive(indices[list.at]);
    return true;
  }
  function end_audit({ words, finished }) {
    if (list?.words === setup.audit_list) list = null;
    if (finished) return screen.asking.tell("The bulk audit", words);
    screen.asking.choose(words, [
      {
        code: "Digit1",
        words: "finish",
        shown: "compare and finish the audit"
      }
    ], false, () => review.decide("finish_audit"));
  }
  return {
    coming,
    step,
    next_where,
    choose,
    hear,
    get name() {
      return list?.words ?? null;
    },
    get words() {
      return list ? `stepping through: ${list.words} (${list.indices.length})` : "";
    },
    /** The rows that the list is about in a trial; undefined for all.
     * @param {number} index */
    rows: (index) => list?.rows?.[index],
    /** The trial on the screen has changed.
     * @param {number} index */
    at(index) {
      if (list?.indices.includes(index)) list.at = list.indices.indexOf(index);
    }
  };
}

// review/words.js
var PACE_MS = 6e5;
var LEAST_DECISIONS = 20;
function make_words3({ setup, store, screen, state, selection, lists }) {
  const { root } = screen;
  const began = performance.now();
  let reminded = began;
  const paces = [];
  function pace() {
    const now = performance.now();
    while (paces.length && now - paces[0] > PACE_MS) paces.shift();
    if (paces.length < LEAST_DECISIONS) return "";
    const per_s = paces.length / ((now - paces[0]) / 1e3);
    const left_min = (state.progress[1] - state.progress[0]) / per_s / 60;
    const left = left_min < 90 ? `${Math.ceil(left_min)} min` : `${(left_min / 60).toFixed(1)} h`;
    return ` \xB7 ${Math.round(per_s * 3600)} an hour, about ${left} left`;
  }
  function write_rows() {
    const card = state.card();
    for (const row of state.emg_rows) {
      const { button, sign, words } = screen.row_parts(row);
      const channel = card?.channels[row];
      set_text(sign, channel?.sign ?? "");
      set_text(words, channel?.words ?? "");
      const whole = shown([
        setup.channels[row].label,
        channel?.words
      ].filter(Boolean).join(": "));
      if (button.title !== whole) button.title = whole;
      button.setAttribute("aria-current", String(row === state.row));
      button.dataset.reviewed = String(Boolean(channel?.reviewed));
      button.dataset.asked = String(channel?.asked ?? true);
    }
  }
  function detail(unplaced) {
    const card = state.card();
    const here = state.here();
    const said = state.times_shown() ? "timed" : "untimed";
    const whole = screen.row_parts(state.row).cut ? `${here?.sign} ${here?.words}` : "";
    const disputes = [
      {
        what: "channel",
        dispute: here?.dispute
      },
      {
        what: "trial",
        dispute: card?.dispute
      }
    ];
    const disputed = disputes.map(({ what, dispute }) => dispute && `Disputed (${what}): ${dispute.why}. ${dispute.said[said]}${dispute.settled ? ` \u2014 ${dispute.settled}` : ""}`);
    const notes = [
      ...here?.notes ?? [],
      ...card?.notes ?? []
    ];
    const all = [
      whole,
      here?.detail[state.read_out ? said : "bare"],
      unplaced,
      ...notes,
      ...disputed
    ];
    return all.map((words) => shown(words ?? "")).filter(Boolean).join("\n");
  }
  function in_full() {
    const card = state.card();
    if (!card) return "This trial is not here yet.";
    const said = state.times_shown() ? "timed" : "untimed";
    const channels = state.emg_rows.map((row) => {
      const { sign, words, detail: detail2, notes, aside } = card.channels[row];
      const { label, over, unit_label } = setup.channels[row];
      const name = `${label}${over ? ` (over ${over})` : ""}, ${unit_label}: ${sign} ${words}`;
      return [
        name,
        detail2[state.read_out ? said : "bare"],
        ...aside.map(([, , why]) => why),
        ...notes
      ];
    });
    const beside = setup.channels.filter(({ auxiliary }) => auxiliary).map(({ label, unit_label }) => `${label}, ${unit_label}`);
    const lines = card.lines.map(({ words }) => words).join(" | ");
    const parts = [
      state.titled(card),
      lines && `Lines: ${lines}`,
      ...card.notes,
      ...channels.flat(),
      ...beside,
      foot()
    ];
    return parts.filter(Boolean).map((words) => shown(words ?? "")).join("\n");
  }
  function foot() {
    const card = state.card();
    const label = state.label();
    const hum = card?.mains ? card.mains[label] : "hidden in a blind review, since it could tell recordings apart";
    const measured = card ? ` Mains measured in this recording, ${label}: ${hum}.` : "";
    return `${setup.processing} Onsets by ${setup.method}.${measured}`;
  }
  function write() {
    const { progress } = state;
    const trial = `${state.count()} of ${store.order.length}`;
    const titled = state.titled(state.card());
    set_cut_text(screen.title, `Trial ${trial}${titled ? ` \xB7 ${titled}` : ""}`);
    screen.progress.value = progress[1] ? progress[0] / progress[1] : 0;
    set_text(screen.counted, `${progress[0]} of ${progress[1]} ${setup.counted}${pace()}`);
    screen.blind.hidden = !state.blind;
    screen.awaited.hidden = !state.awaited_words;
    set_cut_text(screen.awaited, state.awaited_words);
    screen.stepping.hidden = !lists.words;
    set_cut_text(screen.stepping, lists.words);
    show_saved(root, screen.saved, store);
    write_rows();
    const { held_s, mark } = selection;
    const unplaced = selection.burst() && held_s == null ? `${mark.side} selected, not yet placed` : "";
    set_text(screen.detail, detail(unplaced), true);
    set_cut_text(screen.foot, foot());
    const placed = `, ${SIDE_WORDS[mark.side]} selected`;
    const held = held_s == null ? unplaced && `, ${unplaced}` : placed + (state.times_shown() ? ` at ${ms_words(held_s)}` : "");
    set_text(screen.live, `${brief(state.here()?.words ?? "loading")}, ${brief(state.label())}, trial ${trial}${held}`);
  }
  return {
    write,
    in_full,
    /** A channel was closed just now. */
    closed: () => paces.push(performance.now()),
    propose_break() {
      const now = performance.now();
      if (!setup.break_after_min || now - reminded < setup.break_after_min * 6e4) return;
      reminded = now;
      screen.notice.pass(`${Math.round((reminded - began) / 6e4)} minutes at the screen: a short break keeps marks steady. Everything that is called saved is saved.`);
    }
  };
}

// review/review.js
var OF_MARK = /* @__PURE__ */ new Set([
  "The mark",
  "Decide"
]);
var DOUBLE_CLICK_MS = 600;
var NARROW_PX = 1e3;
var TICK_MS3 = 100;
function render_review({ model, view }, setup) {
  const store = make_store2(model, setup);
  const state = make_state3(setup, store);
  const screen = make_screen3(setup, model.get_child("picture"), (action) => act(action, null));
  const { root } = screen;
  const review = (
    /** @type {Review} */
    {
      setup,
      store,
      screen,
      state,
      player: make_player()
    }
  );
  const refresh = () => review.painting.refresh();
  review.painting = make_painting(review);
  review.deciding = make_deciding(review);
  const { decide, adding, refuse } = review.deciding;
  review.lists = make_trial_lists(setup, store, screen, {
    index: () => state.index,
    show: (index) => review.moving.show(index),
    arrive: (index) => review.moving.arrive(index),
    refresh,
    decide: (command) => decide(command)
  });
  review.selection = make_selection(setup, {
    channel: () => state.loaded() ? state.here() : null,
    place: () => ({
      index: state.index,
      row: state.row
    }),
    range: state.range,
    adding,
    stopped: () => store.stopped,
    decide,
    notice: screen.notice.pass,
    refuse,
    refresh,
    redraw() {
      state.layer?.redraw();
      show_saved(root, screen.saved, store);
    }
  });
  review.words = make_words3(review);
  review.moving = make_moving3(review);
  review.forms = make_forms(review);
  const { selection, forms, moving } = review;
  const commands = {
    ...selection.commands,
    ...forms,
    ...make_commands(review)
  };
  let told = !setup.convention;
  let told_at = -Infinity;
  review.pointer = listen_to_pointer2(screen.picture, selection, {
    layer: () => state.layer,
    bands: (height) => lay_bands(setup, height, canvas_font_px()),
    channel: (row) => state.loaded() ? state.card()?.channels[row] : null,
    face(row) {
      if (screen.asking.keeps()) return false;
      root.focus();
      if (performance.now() - told_at < DOUBLE_CLICK_MS) return false;
      if (row !== state.row || screen.asking.key) moving.show(state.index, row);
      return true;
    }
  });
  store.hold(() => selection.held + review.pointer.held + screen.asking.unsent);
  listen_to_news(review);
  function act(action, pressed) {
    const { command, group = "" } = action;
    if (review.pointer.dragging && pressed) return pressed.code === "Escape" && review.pointer.let_go();
    if (pressed && screen.asking.key) return screen.asking.key(pressed);
    if (pressed && screen.key_card.open) return screen.key_card.key(action, pressed);
    if (!pressed && screen.asking.keeps()) return;
    if (selection.keep(OF_MARK.has(group), () => act(action, pressed))) return;
    if (!command) return;
    screen.asking.close();
    if (command !== "nudge") selection.flush();
    if (commands[command]) return commands[command](action);
    if (decide(command, action.arguments ?? {}) && state.closes(command)) moving.go_on();
    else refresh();
  }
  root.addEventListener("focusin", () => {
    if (told) return;
    told = true;
    told_at = performance.now();
    forms.convention({
      command: "convention"
    });
  });
  function fit() {
    const { layer } = state;
    const least = layer && layer.around() + least_bands_px(setup, canvas_font_px());
    if (layer && least) layer.make_tall(fitting_height(root, setup.height, least));
  }
  const dress = live(model, view, {
    root,
    keys_on: screen.keys_on,
    keys: setup.keys,
    every_ms: TICK_MS3,
    act(action, pressed) {
      act(action, pressed);
      moving.reveal();
    },
    draw: review.painting.draw,
    ready(layer) {
      state.layer = layer;
      layer.hide_times(state.blind);
      screen.overview.hidden = root.clientWidth < NARROW_PX;
    },
    dress() {
      fit();
      state.spectrum_for = "";
      review.painting.dressed(dress);
      refresh();
    },
    fit,
    tick(attentive) {
      store.watch(attentive || Boolean(state.awaited_words));
      store.want_page(state.index);
      show_saved(root, screen.saved, store);
    },
    leave(hides) {
      selection.flush();
      if (hides) review.pointer.put();
    },
    unsaved: () => store.pending.length + store.held > 0,
    close() {
      review.painting.close();
      review.player.close();
      store.close();
    }
  });
  state.row = moving.first_open(state.index) ?? state.row;
  store.say_hello();
  review.words.write();
  if (setup.notices.length) screen.notice.pass(setup.notices.join(" "));
  return root;
}

// main.js
var SCREENS = { review: render_review, long: render_long, people: render_people };
function render(panel) {
  const setup = JSON.parse(panel.model.setup);
  return SCREENS[setup.screen](panel, setup);
}
export {
  render
};
