//! The page from outside: an inspection from its start to what the desk sees, and that every photo counts once.

#![cfg(feature = "serve")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod page_server;

use page_server::{Server, good_photo, parse, raw};
use std::fs;

/// A JPEG whose every pixel is black: it decodes and shows no mark.
fn dark_photo() -> Vec<u8> {
    let picture = image::RgbImage::new(1280, 960);
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new(&mut bytes).encode_image(&picture).unwrap();
    bytes
}

#[test]
fn an_inspection_from_the_first_photo_to_the_desk() {
    let server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("order <12>");
    let page = client.get(&format!("/i/{id}"));
    let text = page.text();
    assert!(text.contains("order &lt;12&gt;") && text.contains("cover the <b>right</b>"), "{text}");
    assert_eq!(page.field("lamp"), "left-low");

    // A refused photo says what to change, shows where, and lets the marks be tapped.
    assert_eq!(client.upload(&id, "nothing", "dark.jpg", &dark_photo()).status, 303);
    let text = client.get(&format!("/i/{id}")).text();
    assert!(text.contains("Photo not usable") && text.contains("What to change"), "{text}");
    assert!(text.contains(&format!("/i/{id}/tap/left-low/0")), "{text}");
    assert!(!text.contains("--"), "words of the command line: {text}");
    assert_eq!(client.get(&format!("/i/{id}/tap/left-low/0")).status, 200);
    let upright = client.get(&format!("/i/{id}/upright/left-low/0"));
    assert_eq!((upright.status, upright.header("content-type")), (200, Some("image/jpeg")));

    // A photo that can be measured: verdict, both rulers, what to turn, the picture.
    assert_eq!(client.upload(&id, "nothing", "seen.jpg", &good_photo()).status, 303);
    let text = client.get(&format!("/i/{id}")).text();
    for part in ["class=\"verdict is-out", "ruler is-upright", "quarter turn", "What did you turn?"] {
        assert!(text.contains(part), "{part} is missing: {text}");
    }
    assert!(text.contains("ruler is-level"), "{text}");
    // Any lamp can be chosen. As the right lamp's the same photo shows the other lamp's beam, and is told so.
    let chosen = client.get(&format!("/i/{id}?lamp=right-low"));
    let right = client.upload_request(&id, &chosen, "nothing", "p.jpg", &good_photo());
    assert_eq!(parse(&raw(server.port, &right)).status, 303);
    let text = client.get(&format!("/i/{id}?lamp=right-low")).text();
    assert!(text.contains("cover that lamp and photograph again"), "{text}");
    let picture = client.get(&format!("/i/{id}/picture/left-low/1"));
    assert_eq!((picture.status, picture.header("content-type")), (200, Some("image/jpeg")));
    assert!(image::load_from_memory(&picture.body).is_ok());

    // Nobody said what was turned: not used.
    let entries = server.entries();
    let unsaid = client.upload(&id, "", "seen.jpg", &good_photo());
    assert_eq!(unsaid.status, 422, "{}", unsaid.text());
    assert_eq!(server.entries(), entries);

    // The desk finds it, whole, and gives it away byte by byte.
    let desk = client.get("/desk?q=12");
    assert!(desk.text().contains(&format!("/desk/{id}")), "{}", desk.text());
    assert!(!client.get("/desk?q=nowhere").text().contains(&format!("/desk/{id}")));
    assert_eq!(client.post("/desk/check", &[]).status, 303);
    assert!(client.get("/desk").text().contains("Store whole"));
    let filed = client.get(&format!("/desk/{id}")).text();
    assert!(filed.contains("Save the photo") && filed.contains("As it is"), "{filed}");
    let json = client.record(&id);
    assert_eq!(json["schema"], "lampwright/export/1");
    assert_eq!(client.get(&format!("/desk/{id}/photo/left-low/1")).body, good_photo());
    assert!(client.get(&format!("/desk/{id}/readings.csv")).text().contains("left"));
    for path in [format!("/i/{id}/report.pdf"), format!("/i/{id}/report.pdf?full=1")] {
        let report = client.get(&path);
        assert!(report.status == 200 && report.body.starts_with(b"%PDF"), "{}", report.text());
    }
    assert_eq!(client.get("/desk/bay/0").status, 200);
    server.assert_replayed();
}

/// The good photo at half the light: codes through sRGB's curve and back.
fn half_photo() -> Vec<u8> {
    let mut picture = image::load_from_memory(&good_photo()).unwrap().to_rgb8();
    let light = |code: f64| if code <= 0.04045 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) };
    let code = |light: f64| if light <= 0.003_130_8 { light * 12.92 } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 };
    let halved: Vec<u8> =
        (0..=255_u8).map(|value| (255.0 * code(0.5 * light(f64::from(value) / 255.0))).round() as u8).collect();
    picture.iter_mut().for_each(|value| *value = halved[usize::from(*value)]);
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 95).encode_image(&picture).unwrap();
    bytes
}

#[test]
fn an_inspection_holds_so_many_photos_and_no_more() {
    let server = Server::start(&["--most-photos", "1"]);
    let client = server.client();
    let id = client.begin("order 12");
    let page = client.get(&format!("/i/{id}"));
    let request = client.upload_request(&id, &page, "nothing", "p.jpg", &dark_photo());
    assert_eq!(parse(&raw(server.port, &request)).status, 303);
    let answer = client.upload(&id, "nothing", "p.jpg", &good_photo());
    assert!(answer.status == 422 && answer.text().contains("has 1 photos already"), "{}", answer.text());
    assert_eq!(parse(&raw(server.port, &request)).status, 303, "the one that counts, sent again");
    assert_eq!(server.readings(), 1);
}

/// Photos that go with the beam's are used, filed and measured again; a field that was left empty is none, and what does not
/// go together is not used.
#[test]
fn more_photos_go_with_the_beam_s() {
    let example = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("calib/lenses/example.lens.toml");
    let folder = tempfile::tempdir().unwrap();
    let lens = folder.path().join("wide.lens.toml");
    fs::write(&lens, fs::read_to_string(example).unwrap().replace("height = 3000", "height = 2250")).unwrap();
    let server = Server::start(&["--lens", lens.to_str().unwrap()]);
    let client = server.client();
    let entry = [("vehicle", "order 12"), ("who", "AB"), ("height", "699"), ("offset", "571"), ("lamps", "two")];
    assert!(client.get("/new").text().contains("<option value=\"0\" selected>wide</option>"));
    // Of another camera than the photo's: said, and by no path.
    let with_lens = [&entry[..], &[("lens", "0")]].concat();
    let id = client.post("/new", &with_lens).header("location").unwrap().to_owned();
    let wrong = client.upload(id.trim_start_matches("/i/"), "nothing", "p.jpg", &good_photo());
    assert!(wrong.status == 422 && wrong.text().contains("does not fit the lens file"), "{}", wrong.text());
    assert!(!wrong.text().contains("wide.lens"), "{}", wrong.text());
    assert_eq!(client.post("/new", &[&entry[..], &[("lens", "7")]].concat()).status, 404);

    let id = client.begin("order 13");
    let (good, half, none) = (good_photo(), half_photo(), Vec::new());
    let send = |files: &[(&str, &str, &[u8])]| {
        let page = client.get(&format!("/i/{id}"));
        let (key, seen, lamp) = (page.field("key"), page.field("seen"), page.field("lamp"));
        let fields =
            [("form", client.form.as_str()), ("key", &key), ("seen", &seen), ("lamp", &lamp), ("said", "nothing")];
        parse(&raw(server.port, &client.multipart_of(&format!("/i/{id}/photo"), &fields, files)))
    };
    let entries = server.entries();
    for files in [
        vec![("marks", "m.jpg", &good)],
        vec![("photo", "p.jpg", &none), ("marks", "m.jpg", &good)],
        vec![("photo", "p.jpg", &good), ("marks", "m.jpg", &good), ("bracket", "b.jpg", &half)],
        vec![("photo", "p.jpg", &good), ("photo", "p.jpg", &good)],
        vec![("bracket", "b.jpg", &half); 9],
    ] {
        let files: Vec<(&str, &str, &[u8])> =
            files.iter().map(|(field, name, bytes)| (*field, *name, &bytes[..])).collect();
        let status = send(&files).status;
        assert!(
            [403, 422].contains(&status),
            "{files:?}: {status}",
            files = files.iter().map(|f| f.0).collect::<Vec<_>>()
        );
    }
    let bad = send(&[("marks", "m.jpg", b"<svg/> and so on and on"), ("photo", "p.jpg", &good)]);
    assert_eq!((bad.status, server.entries()), (415, entries));
    assert_eq!(send(&[("marks", "m.jpg", &good), ("ambient", "", b""), ("photo", "p.jpg", &half)]).status, 303);
    assert_eq!(send(&[("photo", "p.jpg", &good), ("bracket", "a", &half), ("bracket", "", b"")]).status, 303);
    let json = client.record(&id);
    let readings = json["records"][0]["entry"]["lamps"][0]["readings"].as_array().unwrap().clone();
    assert!(readings[0]["marks_photo"]["name"].as_str().unwrap().starts_with("marks-"), "{readings:?}");
    assert_eq!(readings[0]["reading"]["status"], "measured");
    assert_eq!(readings[1]["bracket"].as_array().unwrap().len(), 1);
    server.assert_replayed();
}

/// 108 megapixels of 16-bit black in 3 MB: within the limits of what is read, and seconds and a gigabyte of work.
fn heavy_photo() -> Vec<u8> {
    let (width, height) = (12_032, 9_024);
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Sixteen);
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header().unwrap();
    let mut rows = writer.stream_writer().unwrap();
    let row = vec![0; width as usize * 6];
    (0..height).for_each(|_| std::io::Write::write_all(&mut rows, &row).unwrap());
    rows.finish().unwrap();
    drop(writer);
    bytes
}

/// A photo that takes too long, or too much memory, ends its worker: a plain answer, nothing half recorded, and the next
/// photo counts.
#[test]
fn what_takes_too_much_is_ended_and_leaves_nothing() {
    // What each sees as too much is so for any machine and build: of seconds of work one, of a gigabyte an eighth.
    for (limit, photo) in [(["--photo-seconds", "1"], heavy_photo()), (["--photo-mib", "128"], heavy_photo())] {
        let server = Server::start(&limit);
        let client = server.client();
        let id = client.begin("order 12");
        let (entries, files) = (server.entries(), server.files());
        let answer = client.upload(&id, "nothing", "p.png", &photo);
        assert_eq!(answer.status, 422, "{limit:?}: {}", answer.text());
        assert!(answer.text().contains("too long, or too much memory"), "{}", answer.text());
        assert!(server.log().contains("gave no answer within its limits"), "{}", server.log());
        assert_eq!((server.entries(), server.files()), (entries, files), "{limit:?}");
        assert_eq!(client.get(&format!("/i/{id}")).status, 200, "it still serves");
        if limit[0] == "--photo-mib" {
            assert_eq!(client.upload(&id, "nothing", "p.jpg", &good_photo()).status, 303);
            assert_eq!(server.readings(), 1);
        }
    }
}

#[test]
fn the_store_says_invalid_when_it_was_changed() {
    let server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("order 12");
    client.upload(&id, "nothing", "seen.jpg", &good_photo());
    let photo = server.files().into_iter().find(|path| path.to_string_lossy().contains("/photos/")).unwrap();
    let mut bytes = fs::read(&photo).unwrap();
    bytes[1000] ^= 1;
    fs::remove_file(&photo).unwrap();
    fs::write(&photo, bytes).unwrap();
    client.post("/desk/check", &[]);
    assert!(client.get("/desk").text().contains("INVALID"));
}

#[test]
fn a_photo_counts_once_however_often_it_is_sent() {
    let server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("order 12");
    let page = client.get(&format!("/i/{id}"));
    let request = client.upload_request(&id, &page, "nothing", "p.jpg", &good_photo());
    // Three at once and one behind them, with one key.
    let sent: Vec<u16> = std::thread::scope(|scope| {
        let tries: Vec<_> = (0..3).map(|_| scope.spawn(|| parse(&raw(server.port, &request)).status)).collect();
        tries.into_iter().map(|one| one.join().unwrap()).collect()
    });
    assert_eq!(sent, [303, 303, 303]);
    assert_eq!(parse(&raw(server.port, &request)).status, 303);
    assert_eq!((server.readings(), server.entries()), (1, 2));

    // Another photo under the same key is another photo: not taken for the first.
    let other = client.upload_request(&id, &page, "nothing", "p.jpg", &dark_photo());
    assert_eq!(parse(&raw(server.port, &other)).status, 409);
    // Who had not seen this reading is told to look first.
    let fresh = client.get(&format!("/i/{id}"));
    let key = fresh.field("key");
    let fields =
        [("form", client.form.as_str()), ("key", &key), ("seen", "0"), ("lamp", "left-low"), ("said", "nothing")];
    let stale = client.multipart(&format!("/i/{id}/photo"), &fields, "p.jpg", &good_photo());
    let late = parse(&raw(server.port, &stale));
    assert!(late.status == 409 && late.text().contains("Another phone"), "{}", late.text());
    assert_eq!(server.readings(), 1);

    // After a restart the key is still known, and the inspection goes on where it was.
    let folder = server.stop();
    let server = Server::again(folder, &[]);
    let client = server.client();
    let fields: Vec<(String, String)> =
        ["key", "seen", "lamp"].map(|name| (name.to_owned(), page.field(name))).to_vec();
    let mut all: Vec<(&str, &str)> = vec![("form", &client.form), ("said", "nothing")];
    all.extend(fields.iter().map(|(name, value)| (name.as_str(), value.as_str())));
    let request = client.multipart(&format!("/i/{id}/photo"), &all, "p.jpg", &good_photo());
    assert_eq!(parse(&raw(server.port, &request)).status, 303);
    assert_eq!(server.readings(), 1);
    assert!(client.get(&format!("/i/{id}")).text().contains("class=\"verdict"));
}

/// The marks of the picture itself, given back as if they had been tapped: the same photo counts then.
#[test]
fn tapped_marks_measure_the_same_photo_again() {
    let server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("order 12");
    client.upload(&id, "nothing", "p.jpg", &good_photo());
    let json = client.record(&id);
    let reading = &json["records"][0]["entry"]["lamps"][0]["readings"][0]["reading"];
    let places = reading["marks"]["places"].as_array().unwrap();
    let text: Vec<String> = places
        .iter()
        .take(2)
        .map(|place| {
            format!("{}={:.1},{:.1}", place["id"], place["x_px"].as_f64().unwrap(), place["y_px"].as_f64().unwrap())
        })
        .collect();
    let key = client.get(&format!("/i/{id}/tap/left-low/0")).field("key");
    let send = |marks: &str, seen: &str| {
        client.post(
            &format!("/i/{id}/marks"),
            &[("key", &key), ("lamp", "left-low"), ("n", "0"), ("seen", seen), ("marks", marks)],
        )
    };
    for wrong in ["", "99=1,1", "0=1", "0=-5,3", "0=1,1 0=2,2", "0=NaN,1", "--bay=1,1"] {
        assert_eq!(send(wrong, "1").status, 422, "{wrong}");
    }
    assert_eq!(server.readings(), 1);
    assert_eq!(send(&text.join(" "), "1").status, 303);
    assert_eq!(server.readings(), 2);
    let json = client.get(&format!("/desk/{id}/record.json")).text();
    assert!(json.contains("mark-by-hand"), "{json}");
}
