//! Checks of the configuration file's text: what it sets, and that mistakes are pointed at.

use super::*;

fn read(text: &str) -> Result<FileSettings, SheetError> {
    parse(text, "config.toml", Places { folder: Path::new("/etc/place"), home: Some(Path::new("/users/me")) })
}

#[track_caller]
fn refused(text: &str, place: (usize, usize), words: &[&str]) {
    let error = read(text).unwrap_err();
    assert_eq!((error.line, error.column), place, "{error}");
    for word in words {
        assert!(error.to_string().contains(word), "{word:?} missing in:\n{error}");
    }
}

#[test]
fn an_empty_file_sets_nothing() {
    assert_eq!(read("").unwrap(), FileSettings::default());
    assert_eq!(read("# nothing\n").unwrap(), FileSettings::default());
}

#[test]
fn paths_are_told_from_the_files_folder_or_the_home_folder() {
    let settings = read("archive = '~/records'\nkey = 'shop.key'\nsheet = 'mine.toml'").unwrap();
    assert_eq!(settings.archive.as_deref(), Some(Path::new("/users/me/records")));
    assert_eq!(settings.key.as_deref(), Some(Path::new("/etc/place/shop.key")));
    assert_eq!(settings.sheet.as_deref(), Some("/etc/place/mine.toml"));
    assert_eq!(read("sheet = 'body'").unwrap().sheet.as_deref(), Some("body"));
    assert_eq!(read("archive = '/srv/records'").unwrap().archive.as_deref(), Some(Path::new("/srv/records")));
}

#[test]
fn an_unknown_key_is_pointed_at_and_the_near_one_is_named() {
    refused(
        "rig = 'sim:good-grip'\narchiv = 'x'\n",
        (2, 1),
        &["config.toml:2:1", "unknown key `archiv`", "did you mean `archive`", "paper"],
    );
    refused(
        "[shop]\nadress = ['x']\n",
        (2, 1),
        &["unknown key `adress` in [shop]", "did you mean `address`"],
    );
}

#[test]
fn what_is_allowed_is_said_of_every_wrong_value() {
    refused("paper = 'A5'", (1, 9), &["`A5` is not a paper", "a4, letter"]);
    refused(
        "rig = '/dev/ttyACM0'",
        (1, 7),
        &["not a rig address", "serial:/dev/ttyACM0 is meant", "tcp:HOST:PORT"],
    );
    refused("archive = 3", (1, 11), &["`archive` must be a text in quotes, not a number"]);
    refused("archive = ' '", (1, 11), &["`archive` is empty"]);
    refused("shop = 'Shop'", (1, 8), &["`shop` must be a table"]);
    refused(
        "[shop]\naddress = ['a', 2]",
        (2, 17),
        &["an entry of `address` must be a text in quotes, not a number"],
    );
    refused("[shop]\naddress = 'a'", (2, 11), &["must be a list of texts"]);
    refused("rig = ", (1, 7), &["this is not TOML", "config example"]);
}

#[test]
fn name_and_address_that_fill_no_head_of_a_report_are_refused() {
    let long = "x".repeat(121);
    refused(&format!("[shop]\nname = '{long}'"), (2, 8), &["121 characters, more than 120"]);
    let lines = ["'l'"; 9].join(",");
    refused(&format!("[shop]\naddress = [{lines}]"), (2, 44), &["9 lines, more than 8"]);
}

#[test]
fn a_logo_is_png_or_svg_of_bounded_size_and_its_fault_is_kept_for_later() {
    let folder = tempfile::tempdir().unwrap();
    let logo = |name: &str, bytes: &[u8]| {
        std::fs::write(folder.path().join(name), bytes).unwrap();
        let text = format!("[shop]\nlogo = '{name}'");
        let settings = parse(&text, "config.toml", Places { folder: folder.path(), home: None }).unwrap();
        settings.shop.unwrap().logo.unwrap().bytes
    };
    let svg = b"<?xml version='1.0'?>\n<svg xmlns='http://www.w3.org/2000/svg'/>";
    assert_eq!(logo("a.svg", svg).unwrap(), svg);
    assert!(logo("a.png", b"\x89PNG\r\n\x1a\nrest").is_ok());
    let message = |bytes: Result<Vec<u8>, SheetError>| bytes.unwrap_err().to_string();
    let error = message(logo("a.gif", b"GIF89a"));
    assert!(error.contains("config.toml:2:8") && error.contains("neither PNG nor SVG"), "{error}");
    let mut large = svg.to_vec();
    large.resize(LARGEST_LOGO as usize + 1, b' ');
    assert!(message(logo("large.svg", &large)).contains("more than 1048576 bytes"));
    std::fs::remove_file(folder.path().join("a.gif")).unwrap();
    let gone = parse("[shop]\nlogo = 'a.gif'", "c", Places { folder: folder.path(), home: None }).unwrap();
    assert!(message(gone.shop.unwrap().logo.unwrap().bytes).contains("can't be read"));
    let is_folder = parse("[shop]\nlogo = '.'", "c", Places { folder: folder.path(), home: None }).unwrap();
    assert!(message(is_folder.shop.unwrap().logo.unwrap().bytes).contains("it is not a file"));
}
