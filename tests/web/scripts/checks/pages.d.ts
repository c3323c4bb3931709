/** What the page has from htmx, as far as the scripts use it. */
declare const htmx: {
  swap(target: Element, content: string, how: { swapStyle: string }): void;
  process(element: Element): void;
};
