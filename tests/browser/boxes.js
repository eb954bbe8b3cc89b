// What helpers of looking.py ask of a page; put before the call.
const CONTROLS = "a[href],button,input:not([type=hidden]),select,textarea,summary,[role=button],[role=slider],[role=spinbutton],"
  + "[role=switch],[role=checkbox],[role=radio],[role=tab],[role=link],[role=menuitem],[role=option]";
const seen = (each) => each.checkVisibility({ opacityProperty: true, visibilityProperty: true })
  && each.getClientRects().length > 0;
const all = (selector) => [...document.querySelectorAll(selector)].filter(seen);
const tell = (each) => {
  const words = (each.getAttribute("aria-label") || each.textContent || each.value || "").trim().replace(/\s+/g, " ");
  return `${each.localName}${each.id ? `#${each.id}` : ""} ${JSON.stringify(words.slice(0, 40))}`;
};
const px = (number) => Math.round(number * 10) / 10;

function sideways() {
  const root = document.scrollingElement;
  const out = root.scrollWidth <= root.clientWidth ? []
    : all("body *").filter((each) => each.getBoundingClientRect().right > root.clientWidth).slice(0, 8).map(tell);
  return [root.scrollWidth, root.clientWidth, out];
}

function overlapping(selectors, slack) {
  const faults = selectors.filter((each) => all(each).length === 0).map((each) => `nothing to be seen of ${each}`);
  const found = [...new Set(selectors.flatMap(all))].map((each) => [each, each.getBoundingClientRect()]);
  for (const [each, box] of found) {
    if (box.left < -slack || box.right > document.scrollingElement.clientWidth + slack) {
      faults.push(`${tell(each)} from ${px(box.left)} to ${px(box.right)} px`);
    }
  }
  found.forEach(([one, a], index) => {
    for (const [other, b] of found.slice(index + 1)) {
      if (one.contains(other) || other.contains(one)) continue;
      const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (across > slack && down > slack) faults.push(`${tell(one)} and ${tell(other)} by ${px(across)} x ${px(down)} px`);
    }
  });
  return faults;
}

// A link that stands in a sentence: its line's height is the text's.
const inText = (each) => each.localName === "a" && getComputedStyle(each).display === "inline"
  && [...each.parentElement.closest("p,li,td,dd,h1,h2,h3,figcaption,div,section").childNodes].some(
    (node) => node.nodeType === Node.TEXT_NODE && node.data.trim() !== "");

function small(least) {
  return all(CONTROLS).filter((each) => !inText(each)).flatMap((each) => {
    const boxes = [each, ...(each.labels || [])].map((part) => part.getBoundingClientRect());
    const width = Math.max(...boxes.map((box) => box.right)) - Math.min(...boxes.map((box) => box.left));
    const height = Math.max(...boxes.map((box) => box.bottom)) - Math.min(...boxes.map((box) => box.top));
    return width >= least && height >= least ? [] : [`${tell(each)}: ${px(width)} x ${px(height)} px`];
  });
}

function cut(selector, slack) {
  const found = all(selector);
  const faults = found.length === 0 ? [`nothing to be seen of ${selector}`] : [];
  const range = document.createRange();
  for (const each of found) {
    const walker = document.createTreeWalker(each, NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node !== null; node = walker.nextNode()) {
      const parent = node.parentElement;
      if (node.data.trim() === "" || !seen(parent) || parent.closest("title,desc,option") !== null) continue;
      range.selectNodeContents(node);
      const words = range.getBoundingClientRect();
      for (let around = parent; around !== null && around !== document.body; around = around.parentElement) {
        const style = getComputedStyle(around);
        if (/auto|scroll/.test(style.overflow)) break; // all of it can be reached
        const hides = around instanceof SVGSVGElement || /hidden|clip/.test(style.overflow);
        const holds = around === each && style.display !== "inline" && !(around instanceof SVGElement);
        if (!hides && !holds) continue;
        const box = around.getBoundingClientRect();
        const across = Math.max(words.right - box.right, box.left - words.left);
        // A font's own height may be more than its line's.
        const down = Math.max(words.bottom - box.bottom, box.top - words.top) - 0.2 * parseFloat(getComputedStyle(parent).fontSize);
        if (Math.max(across, down) <= slack) continue;
        faults.push(`${tell(parent)}: ${px(Math.max(across, down))} px past ${tell(around)}`);
        break;
      }
    }
  }
  return faults;
}

function tabbable() {
  const found = all(`${CONTROLS},[tabindex]`).filter((each) => each.tabIndex >= 0 && !each.matches(":disabled"));
  const reached = found.filter((each) => {
    if (each.type !== "radio" || each.name === "") return true;
    const group = found.filter((other) => other.type === "radio" && other.name === each.name);
    return each === (group.find((other) => other.checked) || group[0]);
  });
  return reached.map((each) => ({ each, told: tell(each) }));
}

function focused(controls) {
  const each = document.activeElement;
  if (each === null || each === document.body || each === document.documentElement) return null;
  const style = getComputedStyle(each);
  let around = each.parentElement;
  while (around.parentElement !== null && /^rgba.*, 0\)$/.test(getComputedStyle(around).backgroundColor)) around = around.parentElement;
  const box = each.getBoundingClientRect();
  return {
    which: controls.findIndex((other) => other.each === each), told: tell(each), style: style.outlineStyle,
    width: parseFloat(style.outlineWidth), color: style.outlineColor, ground: getComputedStyle(around).backgroundColor,
    inside: box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth,
  };
}
