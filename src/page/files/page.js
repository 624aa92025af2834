"use strict";
// Small helpers of every page: coming in, printing, hearing that something changed.

const byId = (id) => document.getElementById(id);

// A code stands behind the address's #, which is never sent: swap it for a cookie, and take it out of the address.
async function comeIn() {
    const code = /^#([0-9a-f]{64})$/.exec(location.hash);
    if (!code) return;
    history.replaceState(null, "", location.pathname);
    const body = new URLSearchParams({ code: code[1] });
    const say = (text) => { const place = byId("problem"); if (place) place.textContent = text; };
    try {
        const answer = await fetch("/enter", { method: "POST", body, credentials: "same-origin" });
        if (answer.status === 204) location.replace("/");
        else if (answer.status === 429) say("Too many wrong codes. Wait a minute, then scan a new one.");
        else say("This code was used or is older than five minutes. Scan a new one.");
    } catch {
        say("No connection. Stand nearer to the access point and scan again.");
    }
}
comeIn();
addEventListener("hashchange", comeIn);

byId("print")?.addEventListener("click", () => print());

// Another phone or the fixed camera went on: show it, unless a photo is on its way.
let isSending = false;
let isBehind = false;
function listen() {
    const page = document.querySelector("[data-events]");
    if (!page || !window.EventSource) return;
    const source = new EventSource(page.dataset.events);
    source.addEventListener("version", (event) => {
        isBehind = event.data !== page.dataset.version;
        if (isBehind && !isSending && !byId("again")?.offsetParent) location.reload();
    });
    addEventListener("pagehide", () => source.close());
}
listen();
addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
