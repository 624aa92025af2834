// Tapping marks: the view goes to where the mark should be, else the first tap brings the place near; the next tap sets it. The keyboard moves the cross.
{
    const board = byId("board");
    const image = byId("board-picture");
    const NEAR = 10;
    // A finger that moves further than this, in pixels of the screen, scrolls and taps nothing.
    const SWIPE = 10;

    const tap = () => {
        const [width, height] = [Number(board.dataset.width), Number(board.dataset.height)];
        const needed = Number(board.dataset.needed);
        const cross = byId("cross");
        const items = [...document.querySelectorAll("#marks li")];
        const found = new Map();
        for (const item of items) {
            if (item.dataset.foundX) found.set(item.dataset.id, [Number(item.dataset.foundX), Number(item.dataset.foundY)]);
        }
        // Where the marks that were found say that another must be.
        const guesses = new Map();
        for (const item of items) {
            if (item.dataset.nearX) guesses.set(item.dataset.id, [Number(item.dataset.nearX), Number(item.dataset.nearY)]);
        }
        const set = new Map();
        const order = items.map((item) => item.dataset.id).filter((id) => !found.has(id));
        let at = 0;
        let isNear = false;
        // Places are in pixels of the upright photo; the view says where the board's corner lies and how large a pixel is.
        let view = { x: 0, y: 0, scale: 1 };
        let place = [width / 2, height / 2];

        const fit = () => Math.min(board.clientWidth / width, board.clientHeight / height);
        const whole = () => {
            const scale = fit();
            isNear = false;
            view = { scale, x: width / 2 - board.clientWidth / scale / 2, y: height / 2 - board.clientHeight / scale / 2 };
            draw();
        };
        const nearer = ([x, y]) => {
            const scale = Math.max(fit() * NEAR, 0.5);
            isNear = true;
            view = { scale, x: x - board.clientWidth / scale / 2, y: y - board.clientHeight / scale / 2 };
            draw();
        };
        // The next mark: near to where it should be, or the whole picture to look for it.
        const next = () => {
            const guess = guesses.get(order[at]);
            if (guess) { place = guess; nearer(guess); } else whole();
        };
        const onBoard = ([x, y]) => [(x - view.x) * view.scale, (y - view.y) * view.scale];
        const inPhoto = (x, y) => [
            Math.min(Math.max(view.x + x / view.scale, 0), width),
            Math.min(Math.max(view.y + y / view.scale, 0), height),
        ];
        const put = (element, where) => {
            const [x, y] = onBoard(where);
            element.style.left = `${x}px`;
            element.style.top = `${y}px`;
        };

        const draw = () => {
            const size = view.scale * Number(board.dataset.block);
            image.style.transform = `translate(${-view.x * view.scale}px, ${-view.y * view.scale}px) scale(${size})`;
            board.querySelectorAll(".pin").forEach((pin) => pin.remove());
            for (const [list, kind] of [[found, "is-found"], [set, ""]]) {
                for (const [id, where] of list) {
                    const pin = document.createElement("span");
                    pin.className = `pin ${kind}`;
                    pin.dataset.name = id;
                    put(pin, where);
                    board.append(pin);
                }
            }
            put(cross, place);
            const id = order[at];
            for (const item of items) {
                const word = item.querySelector("span");
                const own = item.dataset.id;
                word.textContent = set.has(own) ? "set" : found.has(own) ? "found" : "not found";
                if (own === id) item.setAttribute("aria-current", "step"); else item.removeAttribute("aria-current");
            }
            const count = set.size + [...found.keys()].filter((own) => !set.has(own)).length;
            const send = document.querySelector("#tapped button");
            send.disabled = !set.size || count < needed;
            const item = id && items.find((own) => own.dataset.id === id);
            const name = item?.querySelector("b").textContent.trim().toLowerCase();
            const where = item?.textContent.replace(/\s+/g, " ").split(":")[0].trim().toLowerCase();
            byId("ask").textContent = id
                ? (isNear ? `Tap the very middle of ${name}. Not here? Whole picture.` : `Tap near ${where}.`)
                : (send.disabled ? `${count} marks are not enough: at least ${needed}. Undo, or photograph again.` : "Good. Measure with these marks.");
            byId("undo").disabled = !at;
            byId("skip").disabled = !id;
        };

        const choose = (where) => {
            place = where;
            if (!order[at]) return;
            if (!isNear) { nearer(where); return; }
            set.set(order[at], where);
            at += 1;
            next();
        };

        let pressed = null;
        board.addEventListener("pointerdown", (event) => {
            pressed = event.isPrimary ? { id: event.pointerId, x: event.clientX, y: event.clientY } : null;
        });
        // The browser scrolls or zooms with it.
        board.addEventListener("pointercancel", () => { pressed = null; });
        board.addEventListener("pointerup", (event) => {
            const from = pressed;
            pressed = null;
            if (from?.id !== event.pointerId || Math.hypot(event.clientX - from.x, event.clientY - from.y) > SWIPE) return;
            const box = board.getBoundingClientRect();
            choose(inPhoto(from.x - box.left - board.clientLeft, from.y - box.top - board.clientTop));
        });
        board.addEventListener("keydown", (event) => {
            const step = (event.shiftKey ? 40 : 4) / view.scale / (isNear ? 4 : 1);
            const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
            if (moves[event.key]) {
                const [dx, dy] = moves[event.key];
                place = [Math.min(Math.max(place[0] + dx, 0), width), Math.min(Math.max(place[1] + dy, 0), height)];
                draw();
            } else if (event.key === "Enter") choose(place);
            else if (event.key === "Escape") whole();
            else return;
            event.preventDefault();
        });
        byId("whole").addEventListener("click", whole);
        byId("skip").addEventListener("click", () => { if (order[at]) { at += 1; next(); } });
        byId("undo").addEventListener("click", () => { if (at) { at -= 1; set.delete(order[at]); next(); } });
        byId("tapped").addEventListener("submit", (event) => {
            const text = [...set].map(([id, [x, y]]) => `${id}=${x.toFixed(1)},${y.toFixed(1)}`).join(" ");
            event.target.elements.marks.value = text;
        });
        // A phone's address bar that comes and goes must not take the view away.
        addEventListener("resize", () => { if (isNear) draw(); else whole(); });
        next();
    };

    if (board && image) {
        if (image.complete && image.naturalWidth) tap(); else image.addEventListener("load", tap, { once: true });
    }
}
