//! Checks of precedence and of files that can't be used. Nothing of the tester's own configuration is read.

use super::*;
use std::collections::BTreeMap;

/// A configuration from variables and a file's text in a folder of its own.
fn configured(variables: &[(&str, &str)], text: Option<&str>) -> Result<Config, ConfigError> {
    let folder = tempfile::tempdir().unwrap();
    if let Some(text) = text {
        std::fs::create_dir(folder.path().join("trackpair")).unwrap();
        std::fs::write(folder.path().join(FILE), text).unwrap();
    }
    of(variables, folder.path())
}

fn of(variables: &[(&str, &str)], config_dir: &Path) -> Result<Config, ConfigError> {
    let variables: BTreeMap<&str, &str> = variables.iter().copied().collect();
    Config::of(&Environment {
        variable: &|name| variables.get(name).map(OsString::from),
        config_dir: Some(config_dir.to_path_buf()),
        home: None,
    })
}

#[test]
fn without_file_and_variables_the_defaults_hold() {
    let config = configured(&[], None).unwrap();
    assert!(!config.found);
    assert_eq!(config.rig, Setting { value: None, origin: Origin::Default });
    assert_eq!(config.paper, Setting { value: Paper::A4, origin: Origin::Default });
    assert_eq!(config.shop().unwrap(), None);
}

#[test]
fn the_environment_goes_before_the_file_and_an_empty_variable_is_none() {
    let text = "rig = 'sim:good-grip'\npaper = 'letter'\narchive = '/a'\n[shop]\nname = 'S'";
    let variables = [("TRACKPAIR_RIG", "tcp:bench:4000"), ("TRACKPAIR_ARCHIVE", ""), ("TRACKPAIR_KEY", "/k")];
    let config = configured(&variables, Some(text)).unwrap();
    assert!(config.found);
    assert_eq!(config.rig.value.as_deref(), Some("tcp:bench:4000"));
    assert_eq!(config.rig.origin, Origin::Environment("TRACKPAIR_RIG"));
    assert_eq!(config.archive, Setting { value: Some("/a".into()), origin: Origin::File });
    assert_eq!(config.paper, Setting { value: Paper::Letter, origin: Origin::File });
    assert_eq!(config.key.value.as_deref(), Some(Path::new("/k")));
    assert_eq!(config.shop().unwrap().unwrap().name, "S");
}

#[test]
fn a_variable_that_can_not_be_is_named_with_what_is_allowed() {
    let error = configured(&[("TRACKPAIR_PAPER", "A5")], None).unwrap_err().to_string();
    assert!(error.contains("TRACKPAIR_PAPER is \"A5\"") && error.contains("a4 or letter"), "{error}");
    let error = configured(&[("TRACKPAIR_RIG", "ttyACM0")], None).unwrap_err().to_string();
    assert!(error.contains("TRACKPAIR_RIG is \"ttyACM0\""), "{error}");
}

#[test]
fn another_file_is_read_when_it_is_named_and_must_be_there() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("other.toml");
    let named = [(CONFIG_VARIABLE, file.to_str().unwrap())];
    let error = of(&named, folder.path()).unwrap_err();
    assert_eq!(error, ConfigError::Missing(file.clone()));
    assert!(error.to_string().contains("there is no such file"), "{error}");
    std::fs::write(&file, "archive = 'kept'").unwrap();
    let config = of(&named, folder.path()).unwrap();
    assert_eq!(config.archive.value, Some(folder.path().join("kept")));
    assert_eq!(config.path, Some(file));
}

#[test]
fn a_file_that_can_not_be_one_is_refused_by_name() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir_all(folder.path().join(FILE)).unwrap();
    let error = of(&[], folder.path()).unwrap_err().to_string();
    assert!(error.contains("can't read the configuration") && error.contains("not a file"), "{error}");
    let long = "# x\n".repeat(LONGEST_TEXT as usize / 4 + 1);
    assert!(matches!(configured(&[], Some(&long)), Err(ConfigError::TooLong(_))));
    std::fs::remove_dir(folder.path().join(FILE)).unwrap();
    std::fs::write(folder.path().join(FILE), b"rig = '\xff'").unwrap();
    let error = of(&[], folder.path()).unwrap_err().to_string();
    assert!(error.contains("not UTF-8"), "{error}");
}

#[test]
fn a_broken_logo_hinders_the_shop_alone() {
    let config =
        configured(&[], Some("rig = 'sim:good-grip'\n[shop]\nname = 'S'\nlogo = 'none.png'")).unwrap();
    assert!(config.rig.value.is_some());
    let error = config.shop().unwrap_err().to_string();
    assert!(error.contains("config.toml:4:8") && error.contains("can't be read"), "{error}");
}
