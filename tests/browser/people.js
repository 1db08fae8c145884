// What a person with other eyes, hands or ears meets on the page. Given to the page by `people.rs`.
globalThis.people = (() => {
  const say = (element) => element.outerHTML.replace(/\s+/g, " ").slice(0, 150);
  const seen = (element) =>
    element.checkVisibility({ visibilityProperty: true, opacityProperty: true }) && !element.closest(".unseen");
  const style = (element, part) => getComputedStyle(element, part);

  // Colours: [red, green, blue, alpha], all from 0 to 1.
  const colour = (text) => {
    const numbers = (text.match(/-?[\d.]+/g) ?? []).map(Number);
    if (text === "none" || numbers.length < 3) return [0, 0, 0, 0];
    const whole = text.startsWith("color(") ? 1 : 255;
    return [numbers[0] / whole, numbers[1] / whole, numbers[2] / whole, numbers[3] ?? 1];
  };
  const over = (top, ground) => [0, 1, 2].map((at) => top[at] * top[3] + ground[at] * (1 - top[3])).concat(1);
  const linear = (part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4);
  const light = (c) => 0.2126 * linear(c[0]) + 0.7152 * linear(c[1]) + 0.0722 * linear(c[2]);
  const contrast = (one, other) => {
    const [low, high] = [light(one), light(other)].sort((a, b) => a - b);
    return (high + 0.05) / (low + 0.05);
  };
  const fade = (element) => {
    let all = 1;
    for (let at = element; at; at = at.parentElement) all *= Number(style(at).opacity);
    return all;
  };
  // Everything that lies under an element, its own ground included.
  const ground = (element) => {
    const layers = [];
    for (let at = element; at; at = at.parentElement) {
      const its = style(at);
      if (its.backgroundImage !== "none") throw new Error(`a ground that is no plain colour: ${say(at)}`);
      const layer = colour(its.backgroundColor);
      layers.unshift(layer);
      if (layer[3] === 1) break;
    }
    return layers.reduce((under, layer) => over(layer, under), [1, 1, 1, 1]);
  };
  const faded = (c, element) => [c[0], c[1], c[2], c[3] * fade(element)];

  // Text against what is under it, in three ways of being text: words, what a style sheet puts before them, and
  // what a field holds or would hold.
  const texts = () => {
    const found = [];
    // With the device's own colours a browser lays a ground of its own under all words.
    const forced = matchMedia("(forced-colors: active)").matches ? ground(document.body) : null;
    const note = (element, c, its, what) =>
      [its, forced ?? its].forEach((under) => found.push([contrast(over(faded(c, element), under), under), `${what}: ${say(element)}`]));
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const looked = new Set();
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      const element = node.parentElement;
      if (looked.has(element) || !node.data.trim() || !seen(element) || element.closest("option, noscript, script")) continue;
      looked.add(element);
      const its = style(element);
      if (element instanceof SVGElement) {
        // Letters in a picture have a seam of the paper's colour around them, whatever they lie on.
        const seamed = its.paintOrder.startsWith("stroke") && parseFloat(its.strokeWidth) >= 3;
        note(element, colour(its.fill), seamed ? colour(its.stroke) : ground(element.closest("svg").parentElement), "text");
      } else {
        note(element, colour(its.color), ground(element), "text");
      }
    }
    for (const element of document.querySelectorAll("body *")) {
      if (!seen(element)) continue;
      for (const part of ["::before", "::after", "::marker"]) {
        const its = style(element, part);
        if (part !== "::marker" && !["none", "normal", '""'].includes(its.content))
          note(element, colour(its.color), ground(element), part);
      }
      if (element.matches("input:not([type=checkbox]), textarea, select")) {
        note(element, colour(style(element).color), ground(element), "what is typed");
        if (element.placeholder) note(element, colour(style(element, "::placeholder").color), ground(element), "placeholder");
      }
    }
    return found;
  };

  // What is seen without being read: the borders of what can be typed into or tapped, and the lines of pictures.
  const shapes = () => {
    const found = [];
    for (const element of document.querySelectorAll(".entry, select, textarea, input:not(.entry input, [type=checkbox]), button, .button")) {
      if (!seen(element)) continue;
      const its = style(element);
      const outside = ground(element.parentElement);
      const inside = ground(element);
      const ways = [contrast(inside, outside)];
      for (const side of ["Top", "Right", "Bottom", "Left"])
        if (parseFloat(its[`border${side}Width`]) > 0)
          ways.push(contrast(over(faded(colour(its[`border${side}Color`]), element), outside), outside));
      // Its words stand for a button that has no shape: a link in all but name, underlined, or a whole line.
      const bare = element.matches(".quiet, .stage-line, .line, .entry button, .toast button");
      if (!bare) found.push([Math.max(...ways), say(element)]);
    }
    for (const element of document.querySelectorAll("figure svg :is(path, line, rect, circle)")) {
      const svg = element.closest("svg");
      if (!seen(svg) || element.matches(".grid")) continue;
      const its = style(element);
      const under = ground(svg.parentElement);
      const ways = [];
      if (its.fill !== "none") {
        const c = colour(its.fill);
        ways.push(contrast(over([c[0], c[1], c[2], c[3] * Number(its.fillOpacity)], under), under));
      }
      if (its.stroke !== "none" && parseFloat(its.strokeWidth) > 0) ways.push(contrast(over(colour(its.stroke), under), under));
      found.push([Math.max(1, ...ways), `${svg.getAttribute("aria-label").slice(0, 40)}: ${say(element)}`]);
    }
    return found;
  };
  const least = (found, limit) => ({
    count: found.length,
    lowest: found.reduce((low, [ratio]) => Math.min(low, ratio), 99),
    below: [...new Set(found.filter(([ratio]) => !(ratio >= limit)).map(([ratio, what]) => `${ratio.toFixed(2)} ${what}`))],
  });

  // What a finger aims at. A link inside a sentence is as tall as its line.
  const targets = (limit) => {
    const found = [];
    for (const element of document.querySelectorAll("button, a[href], summary, select, textarea, label.toggle, [tabindex='0'], input:not([type=checkbox])")) {
      const box = element.getBoundingClientRect();
      if (!seen(element) || box.width === 0 || style(element).display === "inline") continue;
      found.push([Math.min(box.width, box.height), `${box.width}x${box.height} ${say(element)}`]);
    }
    return {
      count: found.length,
      least: found.reduce((low, [size]) => Math.min(low, size), 9999),
      small: found.filter(([size]) => size < limit - 0.5).map(([, what]) => what),
    };
  };

  // Headings without a level left out, one first among them; names of screens.
  const outline = () => {
    const found = [];
    let level = 0;
    const all = [...document.querySelectorAll("h1, h2, h3, h4, h5, h6")].filter((h) => h.checkVisibility());
    for (const heading of all) {
      const next = Number(heading.tagName[1]);
      if (next > level + 1) found.push(`after level ${level}: ${say(heading)}`);
      if (!heading.textContent.trim()) found.push(`says nothing: ${say(heading)}`);
      level = next;
    }
    if (all.filter((h) => h.tagName === "H1").length !== 1 || all[0]?.tagName !== "H1") found.push("no screen begins with its one first heading");
    if (document.documentElement.lang !== "en") found.push("no language");
    if (document.querySelectorAll("main").length !== 1) found.push("one main part");
    const ids = [...document.querySelectorAll("[id]")].map((element) => element.id);
    found.push(...ids.filter((id, at) => ids.indexOf(id) !== at).map((id) => `twice: ${id}`));
    const heading = all[0]?.textContent.trim();
    if (heading && !document.title.includes(heading)) found.push(`“${document.title}” is not called after “${heading}”`);
    for (const fold of document.querySelectorAll("[aria-controls]"))
      if (!document.getElementById(fold.getAttribute("aria-controls"))) found.push(`controls nothing: ${say(fold)}`);
    return found;
  };

  // What stands where other words stand, or is cut off.
  const spoilt = () => {
    const found = [];
    const wide = document.documentElement.clientWidth;
    if (document.documentElement.scrollWidth > wide) found.push(`the page rolls to the side: ${document.documentElement.scrollWidth} of ${wide}`);
    const rolls = (element) => ["auto", "scroll"].includes(style(element).overflowX) && element.tabIndex >= 0;
    const within = (element) => {
      for (let at = element; at; at = at.parentElement) if (rolls(at)) return true;
      return false;
    };
    const boxes = [];
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const range = document.createRange();
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      const element = node.parentElement;
      if (!node.data.trim() || !seen(element) || element.closest("svg, option, select, textarea, noscript")) continue;
      // What stays while the rest rolls lies on it by intent.
      const lies = element.closest(".quick, .toasts, .compare-bar");
      range.selectNodeContents(node);
      for (const box of range.getClientRects()) {
        if (box.width < 1) continue;
        if ((box.right > wide + 1 || box.left < -1) && !within(element)) found.push(`past the edge: ${say(element)}`);
        for (let at = element; at && at !== document.body; at = at.parentElement) {
          const its = style(at);
          if (its.overflowX !== "visible" && !rolls(at)) {
            const hole = at.getBoundingClientRect();
            if (box.right > hole.right + 1 || box.left < hole.left - 1 || box.bottom > hole.bottom + 2 || box.top < hole.top - 2)
              if (!["auto", "scroll"].includes(its.overflowY)) found.push(`cut: ${say(element)}`);
          }
        }
        if (!lies) boxes.push([box, element]);
      }
    }
    for (const field of document.querySelectorAll("input:not([type=checkbox], [type=file], .name), .entry .unit"))
      if (seen(field) && field.scrollWidth > field.clientWidth + 1 && field.clientWidth > 0) found.push(`cut: ${field.scrollWidth} of ${field.clientWidth} ${say(field)}`);
    boxes.sort(([one], [other]) => one.top - other.top);
    for (let at = 0; at < boxes.length; at++) {
      const [one, its] = boxes[at];
      for (let on = at + 1; on < boxes.length && boxes[on][0].top < one.bottom; on++) {
        const [other, theirs] = boxes[on];
        const high = Math.min(one.bottom, other.bottom) - Math.max(one.top, other.top);
        const broad = Math.min(one.right, other.right) - Math.max(one.left, other.left);
        // Lines set closely share a little of the room above and below their letters.
        const share = 0.35 * Math.min(one.height, other.height);
        if (broad > 1 && high > share && its !== theirs && !within(its) && !within(theirs)) found.push(`on each other: ${say(its)} and ${say(theirs)}`);
      }
    }
    return [...new Set(found)];
  };

  // Nothing moves by itself for someone who asked for stillness.
  const moving = () => {
    const slow = (text) => text.split(",").some((part) => parseFloat(part) > 0.01);
    const found = [];
    for (const element of document.querySelectorAll("*")) {
      for (const part of [undefined, "::before", "::after"]) {
        const its = style(element, part);
        if (slow(its.transitionDuration) || (its.animationName !== "none" && slow(its.animationDuration)) || its.scrollBehavior === "smooth")
          found.push(say(element));
      }
    }
    return found;
  };

  // Where the focus is: its place on the whole page, how its outline stands out, whether it is seen at all.
  const focused = () => {
    const element = document.activeElement;
    if (!element || element === document.body) return null;
    const box = element.getBoundingClientRect();
    // The outline of a field is drawn around its entry.
    const ringed = element.matches(".entry input") ? element.closest(".entry") : element;
    const its = style(ringed);
    const outside = parseFloat(its.outlineOffset) < 0 ? ground(ringed) : ground(ringed.parentElement);
    const line = its.outlineStyle === "none" ? 0 : parseFloat(its.outlineWidth);
    const points = [0.1, 0.5, 0.9].flatMap((x) => [0.1, 0.5, 0.9].map((y) => [box.left + x * box.width, box.top + y * box.height]));
    const bare = points.some(([x, y]) => {
      const top = document.elementFromPoint(x, y);
      return top && (element.contains(top) || top.contains(element) || top.closest("label")?.contains(element));
    });
    element.testNumber ??= globalThis.testNumber = (globalThis.testNumber ?? 0) + 1;
    return {
      number: element.testNumber,
      top: box.top + scrollY,
      left: box.left,
      high: box.height,
      stays: Boolean(element.closest(".quick, .toasts, .compare-bar, .second")),
      rolls: Boolean(element.closest(".sides")),
      line,
      contrast: contrast(over(colour(its.outlineColor), outside), outside),
      bare,
      what: say(element),
    };
  };

  // A control is called what it says, so that who speaks to the page can name it.
  const misnamed = () =>
    [...document.querySelectorAll("[aria-label]")]
      .filter((element) => element.matches("button, a, summary, input") && seen(element))
      .filter((element) => /[\p{L}\d]/u.test(element.innerText ?? ""))
      .filter((element) => !element.ariaLabel.toLowerCase().includes(element.innerText.trim().toLowerCase()))
      .map(say);

  // What stays on a screen while the rest rolls, as a part of its height.
  const standing = () => {
    const fixed = [...document.querySelectorAll("body *")].filter((e) => ["fixed", "sticky"].includes(style(e).position));
    const boxes = fixed.filter((e) => seen(e) && !e.closest(".sides")).map((e) => e.getBoundingClientRect());
    return boxes.reduce((sum, box) => sum + Math.max(0, Math.min(box.bottom, innerHeight) - Math.max(box.top, 0)), 0) / innerHeight;
  };

  const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
  const MORE = ["color-contrast-enhanced", "target-size", "label-content-name-mismatch"];
  const axeRun = async (whole) => {
    const options = whole
      ? { runOnly: { type: "tag", values: TAGS }, rules: Object.fromEntries(MORE.map((rule) => [rule, { enabled: true }])) }
      : { runOnly: { type: "rule", values: ["color-contrast", "color-contrast-enhanced"] } };
    const found = await axe.run(document, { ...options, resultTypes: ["violations", "incomplete"], preload: false });
    const lines = (rules) =>
      rules.flatMap((rule) => rule.nodes.map((node) => `${rule.id}: ${node.html.replace(/\s+/g, " ").slice(0, 150)} ${node.any.concat(node.all, node.none).map((check) => check.message).join("; ").slice(0, 160)}`));
    return { violations: lines(found.violations), incomplete: lines(found.incomplete), passes: found.passes.length };
  };

  const look = async (whole, byAxe) => {
    const found = { texts: least(texts(), 7), shapes: least(shapes(), 3) };
    if (byAxe) found.axe = await axeRun(whole);
    if (whole) Object.assign(found, { targets: targets(48), outline: outline().concat(misnamed()), moving: moving() });
    return found;
  };
  return { look, spoilt, moving, focused, standing, texts: () => least(texts(), 7) };
})();
