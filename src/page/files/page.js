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

// Of a chart that is wider than the page the newest readings are shown.
const chart = byId("chart");
if (chart) chart.scrollLeft = chart.scrollWidth;

byId("print")?.addEventListener("click", () => print());

// What is wrong, of a page that says so.
const problemOf = (html) => {
    const page = new DOMParser().parseFromString(html, "text/html");
    const lines = [...page.querySelectorAll("#problem p")].map((line) => line.textContent.trim());
    return lines.join(" ") || "It did not work. Try again.";
};

// Beginning: once, however often it is tapped, and what was typed stays when something is wrong with it.
{
    const form = document.querySelector("form.sheet");
    const button = form?.querySelector("button.is-main");
    let isBeginning = false;
    form?.addEventListener("submit", async (event) => {
        event.preventDefault();
        if (isBeginning) return;
        isBeginning = true;
        const problem = byId("begin-problem");
        problem.hidden = true;
        button.textContent = "Beginning …";
        try {
            const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)), credentials: "same-origin" });
            if (answer.redirected) { location.assign(answer.url); return; }
            problem.textContent = problemOf(await answer.text());
        } catch {
            problem.textContent = "No connection. Nothing is lost: stand nearer to the access point and press Begin again.";
        }
        problem.hidden = false;
        button.textContent = "Begin";
        isBeginning = false;
    });
}

// Another phone or the fixed camera went on: show it, unless a photo is on its way, or is being taken: while the phone's
// camera is open, nothing may take the page away to which it gives the photo.
const FILES = 'input[type="file"]';
let isSending = false;
let isTaking = false;
let isBehind = false;
const holds = () => isSending || isTaking || Boolean(byId("again")?.offsetParent)
    || [...document.querySelectorAll(FILES)].some((field) => field.files.length);
const catchUp = () => { if (isBehind && !holds()) location.reload(); };
for (const field of document.querySelectorAll(FILES)) {
    field.addEventListener("click", () => { isTaking = true; });
    field.addEventListener("change", () => { isTaking = false; });
    field.addEventListener("cancel", () => { isTaking = false; catchUp(); });
}
// A browser that does not tell that nothing was chosen: when the page is in front again for this long, the camera is closed.
addEventListener("focus", () => setTimeout(() => { isTaking = false; catchUp(); }, 10000));
function listen() {
    const page = document.querySelector("[data-events]");
    if (!page || !window.EventSource) return;
    const source = new EventSource(page.dataset.events);
    source.addEventListener("version", (event) => {
        isBehind = event.data !== page.dataset.version;
        catchUp();
    });
    addEventListener("pagehide", () => source.close());
}
listen();
addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
