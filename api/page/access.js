// Who is signed in in this browser: what they may do, what goes along with what they change, and the screen to sign in.
import { useEffect, useRef, useState } from "./vendor/preact-hooks.js";
import { html } from "./html.js";

const SESSION = "/api/v1/session";
const ROLES = ["viewer", "technician", "keeper"];
const PATIENCE_MS = 15_000;
const WHO = "leafweather-who";

let session = { sign_in_needed: false, signed_in: false, who: null, role: null, until: null, csrf: null };

/** What goes along with a request that changes something. */
export const writing = () => ({ "Content-Type": "application/json", ...(session.csrf ? { "X-CSRF-Token": session.csrf } : {}) });
/** Whether who is signed in may do what needs a role; the server refuses it all the same. */
export const may = (role) => ROLES.indexOf(session.role) >= ROLES.indexOf(role);
export const signedInAs = () => (session.signed_in ? session.who : null);
export const signedInUntil = () => session.until;
/** The name that was given last in this browser. */
export const remembered = () => { try { return localStorage.getItem(WHO) ?? ""; } catch { return ""; } };
export const remember = (name) => { try { localStorage.setItem(WHO, name); } catch { /* asked again next time */ } };
export const shut = () => session.sign_in_needed && !session.signed_in;

async function told(method, body) {
  const response = await fetch(SESSION, { method, headers: writing(), body, signal: AbortSignal.timeout(PATIENCE_MS) });
  const isJson = (response.headers.get("content-type") ?? "").includes("json");
  const answer = isJson ? await response.json() : {};
  if (!response.ok) throw new Error(answer.detail ?? `The server answered ${response.status}.`);
  session = answer;
}

export const askWho = () => told("GET");
const signIn = (token) => told("POST", JSON.stringify({ token }));

export function SignedIn({ onLeaving, onOut, onStaying }) {
  const [said, setSaid] = useState("");
  if (!session.signed_in) return null;
  const out = () => {
    onLeaving();
    told("DELETE").then(onOut).catch((error) => { onStaying(); setSaid(`Not signed out: ${error.message}`); });
  };
  return html`<p class="signed note">${session.who}, ${session.role}
    ${" "}<button type="button" class="plain" onClick=${out}>Sign out</button> <span role="status">${said}</span></p>`;
}

/** The whole screen before anything is told. */
export function SignIn({ onIn }) {
  const field = useRef(null);
  const [busy, setBusy] = useState(false);
  const [fault, setFault] = useState("");
  useEffect(() => { document.title = "Sign in · Leafweather"; field.current.focus(); }, []);
  const send = async (event) => {
    event.preventDefault();
    const token = field.current.value.trim();
    if (!token) setFault("Paste or type your token first.");
    else {
      setBusy(true);
      try {
        await signIn(token);
        onIn();
        return;
      } catch (error) {
        setFault(error.message);
      }
      setBusy(false);
    }
    field.current.focus();
  };
  return html`
    <header><div class="masthead"><div><p class="house">Leafweather</p><h1>Sign in</h1></div></div></header>
    <main><section id="sign-in" aria-labelledby="sign-in-title">
      <div class="head"><h2 id="sign-in-title">Your token</h2><p class="note">Once in each browser.</p></div>
      <form class="body" onSubmit=${send} novalidate>
        <input hidden type="text" autocomplete="username" value="Leafweather" />
        <label class="field" for="token">Token</label>
        <p class="pair"><input id="token" name="token" type="password" required autocomplete="current-password" autocapitalize="none" spellcheck=${false} maxlength="200"
          ref=${field} aria-describedby="token-note token-fault" aria-invalid=${fault ? "true" : "false"} />
          <button type="submit" disabled=${busy}>${busy ? "Signing in …" : "Sign in"}</button></p>
        <p id="token-fault" role="alert" class=${fault ? "warning" : ""}>${fault}</p>
        <p id="token-note" class="note">Whoever keeps this farm’s Leafweather makes one for you. It begins with <code>lw_</code>.
          This browser then stays signed in for 30 days, or for as long as the token works. Sign out where others use it too.</p>
      </form>
    </section></main>
    <footer><p>Leafweather advises and records; it controls nothing and is not a life-safety device.</p></footer>`;
}
