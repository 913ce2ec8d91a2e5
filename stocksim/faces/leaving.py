"""A script for the frame of the pages: a link waits until what was typed last has been taken.

Streamlit sends no entries along with a change of page and breaks off the run that would take them; so a link that is
clicked straight out of a field lost the entry on a busy machine, and on a phone the change of page.
"""

from __future__ import annotations

# An entry counts from the moment its field is left, or Enter is pressed in it; the run that takes it then begins. A
# field in a form starts no run. Bounds are our choice: after 3 s its run has begun, and after 20 s none will come.
SCRIPT = """<script>(() => {
  if (window.stocksimLeaving) return;
  window.stocksimLeaving = true;
  const state = "data-test-script-state";
  const isBusy = () => document.querySelector(`[${state}]`)?.getAttribute(state) !== "notRunning";
  const isField = field => (field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement)
    && !field.closest('[data-testid="stForm"]');
  let before = null, entered = -1e9, begun = -1e9, isPassing = false;
  new MutationObserver(() => { if (isBusy()) begun = performance.now(); })
    .observe(document.body, {subtree: true, attributes: true, attributeFilter: [state]});
  const take = field => {
    if (before !== null && field.value !== before) entered = performance.now();
    before = field.value;
  };
  document.addEventListener("focusin", event => { if (isField(event.target)) before = event.target.value; }, true);
  document.addEventListener("focusout", event => { if (isField(event.target)) take(event.target); }, true);
  document.addEventListener("keydown", event => {
    if (event.key === "Enter" && isField(event.target) && (event.ctrlKey || event.target.tagName === "INPUT"))
      take(event.target);
  }, true);
  document.addEventListener("click", event => {
    const link = event.target.closest('[data-testid="stPageLink"] a');
    const clicked = performance.now();
    if (!link || isPassing || clicked - entered > 3000 || (begun > entered && !isBusy())) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const watch = setInterval(() => {
      if ((begun > entered && !isBusy()) || performance.now() - clicked > 20000) {
        clearInterval(watch);
        isPassing = true;
        link.click();
        isPassing = false;
      }
    }, 30);
  }, true);
})()</script>"""
