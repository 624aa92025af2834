//! The fixed camera's folder, and pages that hear of what others did.

#![cfg(feature = "serve")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod page_server;

use page_server::{Client, Server, good_photo};
use std::fs;
use std::path::Path;
use std::time::Duration;

#[test]
fn a_watched_folder_feeds_the_inspection_that_asked() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("old.jpg"), good_photo()).unwrap();
    let server = Server::start(&["--watch", folder.path().to_str().unwrap()]);
    let client = server.client();
    let id = client.begin("order 12");
    // Nobody asked: not used.
    std::thread::sleep(Duration::from_secs(1));
    fs::write(folder.path().join("unasked.jpg"), good_photo()).unwrap();
    server.until(|| server.log().contains("no page asked for it"));
    assert_eq!(server.readings(), 0);
    let ask = client.post(&format!("/i/{id}/camera"), &[("seen", "0"), ("lamp", "left-low"), ("said", "nothing")]);
    assert_eq!(ask.status, 303, "{}", ask.text());
    assert!(client.get(&format!("/i/{id}")).text().contains("Waiting for the fixed camera"));
    fs::write(folder.path().join("notes.txt"), "no photo").unwrap();
    fs::write(folder.path().join("new.jpg"), good_photo()).unwrap();
    server.until(|| server.readings() == 1);
    // It waits for one photo, and says what became of one that is none.
    client.post(&format!("/i/{id}/camera"), &[("seen", "1"), ("lamp", "left-low"), ("said", "told")]);
    fs::write(folder.path().join("broken.jpg"), b"not a photo at all").unwrap();
    server.until(|| client.get(&format!("/i/{id}")).text().contains("This file is no photo"));
    assert_eq!(server.readings(), 1);
}

/// Asks for the camera's next photo of the left lamp, of which so many are there.
fn ask(client: &Client, id: &str, seen: &str) {
    let said = if seen == "0" { "nothing" } else { "told" };
    let asked = client.post(&format!("/i/{id}/camera"), &[("seen", seen), ("lamp", "left-low"), ("said", said)]);
    assert_eq!(asked.status, 303, "{}", asked.text());
}

/// A camera that writes one name over and over feeds a new photo each time, of the same size too, whether it writes into the
/// file or puts another in its place.
#[test]
fn a_name_that_is_written_anew_is_a_new_photo() {
    let folder = tempfile::tempdir().unwrap();
    let latest = folder.path().join("latest.jpg");
    fs::write(&latest, good_photo()).unwrap();
    let server = Server::start(&["--watch", folder.path().to_str().unwrap()]);
    let client = server.client();
    let id = client.begin("order 12");
    let write_into = |place: &Path| fs::write(place, good_photo()).unwrap();
    let put_in_place = |place: &Path| {
        let other = place.with_extension("part");
        fs::write(&other, good_photo()).unwrap();
        fs::rename(other, place).unwrap();
    };
    let ways: [&dyn Fn(&Path); 3] = [&write_into, &put_in_place, &write_into];
    ask(&client, &id, "0");
    // Three looks: what lay there at the start is left alone.
    std::thread::sleep(Duration::from_millis(1600));
    assert_eq!(server.readings(), 0);
    for (n, write) in ways.into_iter().enumerate() {
        if n > 0 {
            ask(&client, &id, &n.to_string());
        }
        write(&latest);
        server.until(|| server.readings() == n as u64 + 1);
        // One photo asked for is one photo taken, however long the file lies there.
        std::thread::sleep(Duration::from_millis(1100));
        assert_eq!(server.readings(), n as u64 + 1);
    }
}

/// What the camera wrote just before a page asked shows the lamp of before, and is not its next photo.
#[test]
fn a_photo_of_before_is_not_the_next_one() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&["--watch", folder.path().to_str().unwrap()]);
    let client = server.client();
    let id = client.begin("order 12");
    let logged = "no page asked for it";
    // Between two looks: it lay still at none of them when it was asked.
    fs::write(folder.path().join("before.jpg"), good_photo()).unwrap();
    ask(&client, &id, "0");
    server.until(|| server.log().contains(logged));
    assert_eq!(server.readings(), 0);
    fs::write(folder.path().join("after.jpg"), good_photo()).unwrap();
    server.until(|| server.readings() == 1);
}

/// A photo that is written slowly is taken when it is whole.
#[test]
fn half_a_photo_is_not_taken() {
    use std::io::Write;
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&["--watch", folder.path().to_str().unwrap()]);
    let client = server.client();
    let id = client.begin("order 12");
    ask(&client, &id, "0");
    let photo = good_photo();
    let mut file = fs::File::create(folder.path().join("slow.jpg")).unwrap();
    for piece in photo.chunks(photo.len().div_ceil(8)) {
        file.write_all(piece).unwrap();
        std::thread::sleep(Duration::from_millis(150));
    }
    server.until(|| server.readings() == 1);
    let json = client.record(&id);
    assert_eq!(json["records"][0]["entry"]["lamps"][0]["readings"][0]["photo"]["bytes"], photo.len());
}

/// The fixed camera's photo is of the vehicle that asked first: a second one is told so, and cannot end the first one's wait.
#[test]
fn a_fixed_camera_has_one_vehicle() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&["--watch", folder.path().to_str().unwrap()]);
    let client = server.client();
    let [first, second] = ["order 12", "order 13"].map(|vehicle| client.begin(vehicle));
    let ask = |id: &str, more: &[(&str, &str)]| {
        let fields = [&[("seen", "0"), ("lamp", "left-low"), ("said", "nothing")], more].concat();
        client.post(&format!("/i/{id}/camera"), &fields)
    };
    let waits = |id: &str| client.get(&format!("/i/{id}")).text().contains("Waiting for the fixed camera");
    let unknown = ask("00000000-0000-0000-0000-000000000000", &[]);
    assert_eq!(unknown.status, 404, "no camera for what is no inspection");
    assert_eq!(ask(&first, &[]).status, 303);
    let refused = ask(&second, &[]);
    assert!(refused.status == 409 && refused.text().contains("waits for order 12"), "{}", refused.text());
    assert!(waits(&first) && !waits(&second));
    assert_eq!(ask(&second, &[("stop", "yes")]).status, 303);
    assert!(waits(&first), "another's page gave up what it did not have");
    assert_eq!(ask(&first, &[]).status, 303, "the same vehicle may ask again");
    assert_eq!(ask(&first, &[("stop", "yes")]).status, 303);
    assert!(!waits(&first));
    assert_eq!(ask(&second, &[]).status, 303, "given up, it is free");
    assert_eq!(ask(&first, &[("stop", "yes")]).status, 303);
    assert!(waits(&second), "a page that is late ends nothing");
    // Two looks at an empty folder, then the photo: it is the second one's, and the camera is free.
    std::thread::sleep(Duration::from_secs(1));
    fs::write(folder.path().join("new.jpg"), good_photo()).unwrap();
    server.until(|| server.readings() == 1);
    let filed = |id: &str| client.get(&format!("/desk/{id}/record.json")).text();
    assert!(filed(&second).contains("\"photo-") && !filed(&first).contains("\"photo-"));
    assert_eq!(ask(&first, &[]).status, 303);
}

/// An open page hears of another phone's photo.
#[test]
fn an_open_page_is_told() {
    use std::io::Read;
    let server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("order 12");
    let mut line = page_server::connect(server.port);
    let request = format!("GET /i/{id}/events HTTP/1.1\r\n{}\r\n", client.own());
    std::io::Write::write_all(&mut line, request.as_bytes()).unwrap();
    let mut heard = String::new();
    let mut hear = |wanted: &str| {
        while !heard.contains(wanted) {
            let mut part = [0_u8; 1000];
            let n = line.read(&mut part).unwrap();
            assert!(n > 0, "ended after {heard}");
            heard += &String::from_utf8_lossy(&part[..n]);
        }
    };
    hear("data: 0.0");
    client.upload(&id, "nothing", "p.jpg", &good_photo());
    hear("data: 1.0");
}
