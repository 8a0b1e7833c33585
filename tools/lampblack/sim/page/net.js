// The connection to the session. What the session tells is merged into `state`; what a person does is sent.
// Nothing is decided here: a window shows, and passes on.

export const state = {};
/** What the session tells once, in its first message, and what does not change: sizes, limits, kinds, tones. */
export const fixed = {};
const listeners = [];
let socket = null;
const late = new Map();
let told = 0; // performance.now() when now_ms was true

export function listen(call) {
  listeners.push(call);
}

export function send(message) {
  sendLate();
  if (socket && socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify(message));
}

/** Send `message` with the next one, or with `sendLate`; of several of one hand the last. */
export function sendLater(message) {
  late.set(message.hand, message);
}

export function sendLate() {
  const messages = [...late.values()];
  late.clear();
  messages.forEach(send);
}

/** The session's clock now, in ms: told with every message, counted on in between. */
export function nowMs() {
  return state.now_ms === undefined ? 0 : state.now_ms + (performance.now() - told) * state.pace;
}

/** What of `ms`, told with the last message, is left by now. */
export function leftMs(ms) {
  return Math.max(0, ms - (performance.now() - told) * state.pace);
}

function tell(news) {
  const changed = new Set(Object.keys(news.state || {}));
  for (const call of listeners) call(news, changed);
}

export function connect() {
  socket = new WebSocket(`ws://${location.host}${location.pathname}live`);
  socket.onmessage = ({ data }) => {
    const news = JSON.parse(data);
    if (news.hello) for (const key of Object.keys(state)) delete state[key];
    Object.assign(fixed, news.hello);
    Object.assign(state, news.state);
    if (news.state) told = performance.now();
    tell(news);
  };
  socket.onclose = () => {
    state.pace = 0;
    tell({ lost: true });
    setTimeout(connect, 700);
  };
}

/** Put `text` into an element; what is there already is left, as writing it again would lay the page out again. */
export function write(element, text) {
  if (element.textContent !== text) element.textContent = text;
}
