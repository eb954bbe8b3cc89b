// Every kind of words to be seen once: its colour, size in CSS pixels, and what is painted behind it, nearest first.
() => {
  const SHAPES = "rect,circle,ellipse,line,path,polygon,polyline";
  const clear = (said) => said === "none" || said === "transparent" || /^rgba.*, 0\)$|\/ 0\)$/.test(said);
  const opaque = (said) => !clear(said) && !(/^rgba/.test(said) || said.includes("/"));
  const faded = (said, share) => share >= 1 ? said
    : said.replace(/^rgba?\(([^,]+),([^,]+),([^,)]+)(?:, *([\d.]+))?\)$/, (_, r, g, b, a) => `rgba(${r},${g},${b}, ${share * (a ?? 1)})`);
  const seen = (element, rect) => rect.width > 1.5 && rect.height > 1.5
    && element.checkVisibility({ opacityProperty: true, visibilityProperty: true });
  const opacity = (element) => element === null ? 1 : Number(getComputedStyle(element).opacity) * opacity(element.parentElement);

  const around = (element) => {
    const behind = [];
    for (let each = element; each !== null; each = each.parentElement) {
      const style = getComputedStyle(each);
      if (style.backgroundImage !== "none") return { behind, unclear: "a picture or gradient behind it" };
      if (!clear(style.backgroundColor)) behind.push(style.backgroundColor);
      if (opaque(style.backgroundColor)) return { behind, unclear: "" };
    }
    return { behind, unclear: "nothing opaque behind it" };
  };

  const under = (text, x, y) => {
    const behind = [];
    for (const each of document.elementsFromPoint(x, y)) {
      const style = getComputedStyle(each);
      if (each.matches("image,foreignObject,img,canvas,video")) return { behind, unclear: `<${each.localName}> behind it` };
      if (each.matches(SHAPES)) {
        if (clear(style.fill) || !each.isPointInFill(new DOMPoint(x, y).matrixTransform(each.getScreenCTM().inverse()))) continue;
        const fill = faded(style.fill, Number(style.fillOpacity) * opacity(each));
        behind.push(fill);
        if (opaque(fill)) return { behind, unclear: "" };
      } else if (!(each instanceof SVGElement) || each instanceof SVGSVGElement) {
        if (style.backgroundImage !== "none") return { behind, unclear: "a picture or gradient behind it" };
        if (!clear(style.backgroundColor)) behind.push(style.backgroundColor);
        if (opaque(style.backgroundColor)) return { behind, unclear: "" };
      }
    }
    return { behind, unclear: "nothing opaque behind it" };
  };

  const found = new Map();
  const add = (words, color, size, style, element, { behind, unclear }) => {
    const told = { color, size, weight: Number(style.fontWeight), opacity: opacity(element), behind, unclear };
    const key = JSON.stringify(told);
    if (!found.has(key)) found.set(key, { words: words.trim().replace(/\s+/g, " ").slice(0, 60), ...told });
  };

  // Shapes that let the pointer through are painted all the same.
  const sheet = new CSSStyleSheet();
  sheet.replaceSync("svg, svg * { pointer-events: auto !important }");
  document.adoptedStyleSheets.push(sheet);
  const place = [scrollX, scrollY];
  const range = document.createRange();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node !== null; node = walker.nextNode()) {
    const element = node.parentElement;
    if (node.data.trim() === "" || element.closest("script,style,noscript,title,desc,:disabled") !== null) continue;
    range.selectNodeContents(node);
    if (!seen(element, range.getBoundingClientRect())) continue;
    const style = getComputedStyle(element);
    if (!(element instanceof SVGElement)) {
      add(node.data, style.color, parseFloat(style.fontSize), style, element, around(element));
      continue;
    }
    const matrix = element.getScreenCTM();
    const size = parseFloat(style.fontSize) * Math.sqrt(Math.abs(matrix.a * matrix.d - matrix.b * matrix.c));
    const color = faded(style.fill, Number(style.fillOpacity));
    if (!clear(style.stroke) && style.paintOrder.startsWith("stroke")) { // a halo
      add(node.data, color, size, style, element, { behind: [style.stroke], unclear: opaque(style.stroke) ? "" : "a halo let through" });
      continue;
    }
    element.scrollIntoView({ block: "center", inline: "center", behavior: "instant" });
    const box = range.getBoundingClientRect();
    for (const [x, y] of [[0.02, 0.1], [0.98, 0.1], [0.5, 0.5], [0.02, 0.9], [0.98, 0.9]]) {
      add(node.data, color, size, style, element, under(element, box.x + x * box.width, box.y + y * box.height));
    }
  }
  for (const field of document.querySelectorAll("input:not([type=checkbox],[type=radio],[type=range],[type=color]),textarea,select")) {
    if (field.matches(":disabled") || !seen(field, field.getBoundingClientRect())) continue;
    const style = getComputedStyle(field);
    add(`in <${field.localName}> ${field.id}`, style.color, parseFloat(style.fontSize), style, field, around(field));
    if (field.placeholder) {
      const hint = getComputedStyle(field, "::placeholder");
      add(field.placeholder, hint.color, parseFloat(hint.fontSize), hint, field, around(field));
    }
  }
  document.adoptedStyleSheets.pop();
  scrollTo({ left: place[0], top: place[1], behavior: "instant" });
  return [...found.values()];
}
