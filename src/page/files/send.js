// Sending a photo: at once when it is taken, with how far it is, again by itself when the line broke. The form's key makes
// sure that it counts once, however often it is sent.
{
    const form = byId("photo");
    const file = byId("file");
    const status = byId("sending");
    const again = byId("again");
    const pauses = [1000, 2000, 4000, 8000];
    const SAID = "said before the page was shown anew";

    const say = (text, isAlert) => {
        status.hidden = false;
        status.textContent = text;
        status.classList.toggle("is-stop", Boolean(isAlert));
        status.scrollIntoView({ block: "nearest" });
    };

    const post = (body) => new Promise((done, fail) => {
        const request = new XMLHttpRequest();
        request.open("POST", form.action);
        request.timeout = 150000;
        request.upload.addEventListener("progress", (event) => {
            if (!event.lengthComputable) return;
            const share = Math.round(100 * event.loaded / event.total);
            say(share < 100 ? `Sending: ${share} %` : "Measuring …");
        });
        request.addEventListener("load", () => done(request));
        for (const kind of ["error", "timeout", "abort"]) request.addEventListener(kind, () => fail(new Error(kind)));
        request.send(body);
    });

    const send = async () => {
        if (isSending || !file.files.length) return;
        isSending = true;
        again.hidden = true;
        const body = new FormData(form);
        for (const name of ["marks", "ambient", "bracket"]) {
            const chosen = body.getAll(name).filter((photo) => photo.size);
            body.delete(name);
            for (const photo of chosen) body.append(name, photo, name);
        }
        // The photo comes last: the server looks at everything else first.
        body.delete("photo");
        body.append("photo", file.files[0], "photo");
        for (let n = 0; ; n += 1) {
            try {
                say("Sending …");
                const request = await post(body);
                if (request.status === 503 && n < pauses.length) {
                    say("The server is busy. Your photo waits …");
                } else if (request.status < 400) {
                    // Nothing is on its way any more: nobody is to be asked whether to leave.
                    isSending = false;
                    location.replace(location.pathname);
                    return;
                } else {
                    const text = problemOf(request.responseText);
                    isSending = false;
                    file.value = "";
                    if (request.status === 409 || isBehind) {
                        // What is next is another thing now: it is shown, and what was said with it.
                        sessionStorage.setItem(SAID, text);
                        location.reload();
                        return;
                    }
                    say(text, true);
                    if (request.status === 408 || request.status >= 500) again.hidden = false;
                    return;
                }
            } catch {
                if (n >= pauses.length) break;
                say("The connection broke off. Trying again …");
            }
            await new Promise((go) => setTimeout(go, pauses[n]));
        }
        say("No connection. The photo is kept on this page: stand nearer and send it again.", true);
        isSending = false;
        again.hidden = false;
    };

    if (form && file) {
        const said = sessionStorage.getItem(SAID);
        if (said) {
            sessionStorage.removeItem(SAID);
            say(said, true);
        }
        byId("send").hidden = true;
        byId("choose").hidden = false;
        file.addEventListener("change", send);
        for (const field of document.querySelectorAll("#more input")) {
            const show = () => field.closest("label").classList.toggle("is-chosen", field.files.length > 0);
            field.addEventListener("change", show);
            show();
        }
        again.addEventListener("click", send);
        byId("choose").addEventListener("click", () => {
            file.removeAttribute("capture");
            file.click();
            file.setAttribute("capture", "environment");
        });
        const turned = byId("turned");
        const other = byId("other");
        if (turned && other) {
            const show = () => { turned.hidden = !other.checked; };
            form.addEventListener("change", show);
            show();
        }
        addEventListener("beforeunload", (event) => { if (isSending) event.preventDefault(); });
    }
}
