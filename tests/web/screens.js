// What is wrong with a page as it stands: cut text, a page wider than the screen, targets too close to each other.
([leastGap]) => {
  const found = [];
  const unseen = (one) => one && (getComputedStyle(one).clipPath === "inset(50%)" || unseen(one.parentElement));
  const shown = (one) => one.checkVisibility({contentVisibilityAuto: true, visibilityProperty: true, opacityProperty: true})
    && !one.closest("[aria-hidden=true], template, head") && !unseen(one);
  const name = (one) => {
    const said = (one.getAttribute("aria-label") || one.textContent || one.getAttribute("name") || "").trim();
    return `${one.tagName.toLowerCase()}.${one.className.baseVal ?? one.className} "${said.replace(/\s+/g, " ").slice(0, 50)}"`;
  };
  const wider = document.documentElement.scrollWidth - innerWidth;
  if (wider > 0) found.push(`${wider} px wider than the screen`);

  const FRAMES = "a.button, a.answer, a.tile, button, summary, label.choice, td, th, .card, .engine-band, .entry, main";
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const text = texts.currentNode, parent = text.parentElement;
    if (!text.data.trim() || !shown(parent) || parent.closest("option, select, script, textarea")) continue;
    const range = document.createRange();
    range.selectNodeContents(text);
    for (const box of range.getClientRects()) {
      for (let one = parent; one && one !== document.body; one = one.parentElement) {
        const style = getComputedStyle(one), edge = one.getBoundingClientRect();
        if (style.display === "inline" || style.display === "contents") continue;
        const scrolls = (way) => ["auto", "scroll"].includes(style[way]);
        const hides = style.overflowX !== "visible" || one.matches(FRAMES);
        const beside = box.left < edge.left - 1 || box.right > edge.right + 1;
        const below = box.top < edge.top - 3 || box.bottom > edge.bottom + 3;
        if (scrolls("overflowX") || scrolls("overflowY")) break;
        if (hides && (beside || below)) { found.push(`text leaves ${name(one)}: "${text.data.trim().slice(0, 40)}"`); break; }
      }
    }
  }

  const TAPPED = "a[href], button, summary, select, textarea, input:not([type=hidden]), label:has(input[type=checkbox], input[type=radio])";
  const targets = [...document.querySelectorAll(TAPPED)].filter((one) => shown(one) && getComputedStyle(one).display !== "inline"
    && !one.matches("label input") && !one.closest("label:not(:has(> input)) input"));
  const boxes = targets.map((one) => one.getBoundingClientRect());
  targets.forEach((one, at) => {
    for (let other = at + 1; other < targets.length; other++) {
      const [a, b] = [boxes[at], boxes[other]];
      if (!a.width || !b.width || one.contains(targets[other])) continue;
      const across = Math.max(a.left, b.left) - Math.min(a.right, b.right);
      const down = Math.max(a.top, b.top) - Math.min(a.bottom, b.bottom);
      const gap = across > 0 && down > 0 ? Math.hypot(across, down) : Math.max(across, down);
      if (gap < leastGap - 0.5) found.push(`${gap.toFixed(1)} px between ${name(one)} and ${name(targets[other])}`);
    }
  });
  return found;
}
