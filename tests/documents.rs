//! What the documents say against what is there: commands of CI, folders, files.

#![expect(clippy::unwrap_used, reason = "a test's helpers may unwrap as the tests do")]

use std::fs;
use std::path::Path;

fn read(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

#[test]
fn every_command_of_ci_is_listed_for_contributors() {
    let guide = read("DEVELOPERS.md");
    let script = read(".ci/run");
    let commands: Vec<&str> = script.lines().filter_map(|line| line.strip_prefix("step ")).collect();
    assert!(commands.len() >= 4, "{commands:?}");
    for command in commands {
        assert!(guide.contains(command), "DEVELOPERS.md does not list: {command}");
    }
}

#[test]
fn folders_are_described_in_the_order_of_the_flow() {
    let guide = read("DEVELOPERS.md");
    let mut last = 0;
    for module in read("src/lib.rs").lines().filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';')) {
        let row = [format!("| `{module}/` |"), format!("| `{module}.rs` |")];
        let at = row.iter().find_map(|row| guide.find(row.as_str()));
        let at = at.unwrap_or_else(|| panic!("DEVELOPERS.md has no row for {module}"));
        assert!(at > last, "{module} stands elsewhere in lib.rs");
        last = at;
    }
}

/// Links to files of the project lead somewhere.
#[test]
fn links_lead_somewhere() {
    for name in ["README.md", "DEVELOPERS.md", "fixtures/README.md"] {
        let text = read(name);
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(name).parent().unwrap().to_owned();
        for link in text.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            let is_own = !link.contains("://") && !link.starts_with('#');
            assert!(!is_own || folder.join(link).exists(), "{name} links to {link}");
        }
    }
}

/// The table of the page's promises names tests that are there.
#[test]
fn each_promise_of_the_page_names_its_tests() {
    let guide = read("DEVELOPERS.md");
    let (_, behind) = guide.split_once("| promise | tests |").unwrap();
    let rows: Vec<&str> = behind.lines().skip(2).take_while(|line| line.starts_with('|')).collect();
    assert!(rows.len() >= 12, "{rows:?}");
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let files = ["tests", "src/page"].map(|folder| fs::read_dir(root.join(folder)).unwrap());
    let files = files.into_iter().flatten().map(|entry| entry.unwrap().path());
    let code: String = files
        .filter(|path| path.extension().is_some_and(|end| end == "rs"))
        .map(|path| fs::read_to_string(path).unwrap())
        .collect();
    for row in rows {
        let tests = row.split('|').nth(2).unwrap();
        for name in tests.split('`').skip(1).step_by(2).filter(|name| !name.contains('/')) {
            assert!(code.contains(&format!("fn {name}()")), "no test {name}");
        }
    }
}
