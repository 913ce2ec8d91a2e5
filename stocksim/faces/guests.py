"""Who may see the pages, and what the browser does as they leave."""

from __future__ import annotations

import os
import secrets

import streamlit as st

from stocksim.faces import markup


def is_admitted() -> bool:
    """Whether the browser has brought the token, if one is asked for; asks for it otherwise.

    The address keeps the token, so that a page that is loaded again is not asked again.
    """
    wanted = os.environ.get("STOCKSIM_TOKEN", "")
    if not wanted:
        return True
    state = st.session_state
    if not state.get("is_admitted"):
        state.is_admitted = _is_same(st.query_params.get("token", ""), wanted)
    if state.is_admitted:
        if st.query_params.get("token") != wanted:
            st.query_params["token"] = wanted
        return True
    st.html(markup.heading_html("These pages ask for a token"))
    st.html(markup.paragraph_html('Open the whole address that "stocksim open" has printed, or type its token here.'))
    typed = st.text_input("Token", type="password", key="token")
    if typed and _is_same(typed.strip(), wanted):
        state.is_admitted = True
        st.rerun()
    if typed:
        st.html(markup.fault_html("This is not the token."))
    return False


def _is_same(given: str, wanted: str) -> bool:
    return secrets.compare_digest(given.encode("utf-8", "replace"), wanted.encode())


# --- a script for the frame of the pages: what was typed last is taken, whatever the keeper does next

# An entry counts from the moment its field is left, or Enter is pressed in it; the run that takes it then begins. A
# field in a form starts no run. Bounds are our choice: after 3 s its run has begun, and after 20 s none will end.
SCRIPT = """<script>(() => {
  if (window.stocksimLeaving) return;
  window.stocksimLeaving = true;
  // a place to drop files on has a name and a button in it, so it is a group, which Streamlit calls a mere picture
  const group = () => document.querySelectorAll('[data-testid="stFileUploaderDropzone"][role="presentation"]')
    .forEach(zone => zone.setAttribute("role", "group"));
  new MutationObserver(group).observe(document.body, {subtree: true, childList: true});
  group();
  const state = "data-test-script-state";
  const isBusy = () => document.querySelector(`[${state}]`)?.getAttribute(state) !== "notRunning";
  const isField = field => (field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement)
    && !field.closest('[data-testid="stForm"]');
  const isText = field => isField(field) && field.closest('[data-testid="stTextInput"], [data-testid="stTextArea"]');
  const waiting = new Map();
  let before = null, entered = -1e9, begun = -1e9, ended = -1e9, isPassing = false, watch = null, clicked = null;
  new MutationObserver(() => { if (isBusy()) begun = performance.now(); else ended = performance.now(); })
    .observe(document.body, {subtree: true, attributes: true, attributeFilter: [state]});
  // what a run has drawn reaches the fields a little after it is said to have ended
  const isUnderWay = () => isBusy() || performance.now() - ended < 300
    || (begun < entered && performance.now() - entered < 3000);
  const pass = act => {
    isPassing = true;
    try { act(); } finally { isPassing = false; }
  };
  const send = field => {
    waiting.delete(field);
    if (!field.isConnected) return;
    entered = performance.now();
    pass(() => field.dispatchEvent(new FocusEvent("focusout", {bubbles: true})));
  };
  // a run may draw what was clicked afresh: then the one of the same key and the same words is meant
  const finder = target => {
    const key = [...target.closest('[class*="st-key-"]')?.classList ?? []].find(name => name.startsWith("st-key-"));
    const kind = target.tagName + (target.getAttribute("role") ? `[role="${target.getAttribute("role")}"]` : "");
    const words = target.innerText;
    return () => target.isConnected ? target
      : [...document.querySelectorAll(key ? `.${CSS.escape(key)} ${kind}` : kind)].find(one => one.innerText === words);
  };
  const look = () => {
    const now = performance.now();
    const isLate = since => now - since > 20000;
    if (isUnderWay() && ![...waiting.values(), ...(clicked ? [clicked.since] : [])].some(isLate)) return;
    if (waiting.size) {
      send(waiting.keys().next().value);  // one at a time: each has a run of its own
      return;
    }
    if (clicked) {
      const target = clicked.again();
      clicked = null;
      if (target) pass(() => target.click());
    }
    if (!clicked && !waiting.size) {
      clearInterval(watch);
      watch = null;
    }
  };
  const wait = () => { watch ??= setInterval(look, 30); };
  const take = (field, event, isEnter) => {
    const isNew = before !== null && field.value !== before;
    before = field.value;
    if (!isNew) return;
    if (isText(field) && isUnderWay()) {
      event.stopImmediatePropagation();
      if (isEnter) event.preventDefault();
      waiting.set(field, performance.now());
      wait();
    } else entered = performance.now();
  };
  document.addEventListener("focusin", event => {
    if (isPassing || !isField(event.target)) return;
    before = waiting.delete(event.target) ? undefined : event.target.value;  // what waited goes when it is left again
  }, true);
  document.addEventListener("focusout", event => {
    if (!isPassing && isField(event.target)) take(event.target, event, false);
  }, true);
  document.addEventListener("keydown", event => {
    if (event.key === "Enter" && !event.isComposing && isField(event.target)
      && (event.ctrlKey || event.target.tagName === "INPUT")) take(event.target, event, true);
  }, true);
  document.addEventListener("click", event => {
    if (isPassing || !(event.target instanceof Element)) return;
    const link = event.target.closest('[data-testid="stPageLink"] a');
    const target = link ?? event.target.closest('button, [role="radio"]');
    const now = performance.now();
    if (!target || !(waiting.size || (now - entered < 3000 && isUnderWay()))) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    clicked = {again: finder(target), since: now};
    wait();
  }, true);
  const leave = () => {
    const field = document.activeElement;
    if (isText(field) && before !== null && field.value !== before) {
      waiting.set(field, 0);
      before = field.value;
    }
    for (const one of [...waiting.keys()]) send(one);
  };
  window.addEventListener("beforeunload", () => {
    leave();
    const now = performance.now();
    if (now - entered < 1000) queueMicrotask(() => {
      while (performance.now() - now < 300);  // what was sent goes out before the browser drops the connection
    });
  });
  window.addEventListener("pagehide", leave);
  document.addEventListener("visibilitychange", () => { if (document.hidden) leave(); });
})()</script>"""
