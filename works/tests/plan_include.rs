//! Works files that include others.

use std::path::PathBuf;

use bedplate_works::plan::Plan;
use bedplate_works::plan::json::to_json;
use bedplate_works::plan::read::{PlanFault, parse, read};
use tempfile::TempDir;

const WORKS: &str = "[works]\nname = \"Quarrybeck\"\nday_rate = 90\n";

/// A folder with these files in it, and its `works.toml`.
fn folder(files: &[(&str, &str)]) -> (TempDir, PathBuf) {
    let bytes: Vec<(&str, &[u8])> = files.iter().map(|(n, t)| (*n, t.as_bytes())).collect();
    folder_of_bytes(&bytes)
}

fn folder_of_bytes(files: &[(&str, &[u8])]) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder for the test");
    for (name, text) in files {
        let path = folder.path().join(name);
        std::fs::create_dir_all(path.parent().expect("under the folder")).expect("a folder");
        std::fs::write(path, text).expect("a file for the test");
    }
    let works = folder.path().join("works.toml");
    (folder, works)
}

fn sound(files: &[(&str, &str)]) -> Plan {
    let (_folder, works) = folder(files);
    read(&works).unwrap_or_else(|fault| panic!("{fault}"))
}

/// The faults, each with its file's last name alone.
fn faults(files: &[(&str, &str)]) -> Vec<String> {
    let (folder, works) = folder(files);
    let fault = read(&works).expect_err("not sound");
    assert_eq!(fault.unreadable, None);
    named(&fault, &folder)
}

fn named(fault: &PlanFault, folder: &TempDir) -> Vec<String> {
    let root = format!("{}/", folder.path().display());
    fault.faults.iter().map(|f| f.to_string().replace(&root, "")).collect()
}

#[test]
fn included_files_are_spliced_in_their_order() {
    let works = format!(
        "# The works.\n  include = [ # two files\n  \"parts.toml\",\n  'people/all.toml' ]\n{WORKS}"
    );
    let plan = sound(&[
        ("works.toml", &works),
        ("parts.toml", "\u{feff}# parts\n[part.block]\nprefix = \"B\""),
        ("people/all.toml", "[person.me]\nname = \"A. Newcomer\"\nroles = [\"viewer\"]\n"),
    ]);
    assert!(plan.parts.contains_key("block") && plan.people.contains_key("me"));
    let expected = format!(
        "# The works.\n#   include = [ # two files\n#   \"parts.toml\",\n#   'people/all.toml' ]\n{WORKS}\
         \n# parts.toml\n# parts\n[part.block]\nprefix = \"B\"\n\n# people/all.toml\n[person.me]\n\
         name = \"A. Newcomer\"\nroles = [\"viewer\"]\n"
    );
    assert_eq!(plan.text, expected);
}

#[test]
fn the_spliced_text_reads_to_the_same_plan_and_edition() {
    let works = format!("include = [\"parts.toml\", \"more.toml\"]\r\n{WORKS}");
    let plan = sound(&[
        ("works.toml", &works),
        ("parts.toml", "include = [\"deep.toml\"]\n[part.block]\n"),
        ("deep.toml", "\n\n[part.piston]\n"),
        ("more.toml", "[[works.shift]]\nname = \"A\"\nstart = \"06:00\"\n"),
    ]);
    let again = parse("works.toml", &plan.text).unwrap_or_else(|fault| panic!("{fault}"));
    assert_eq!((&again.edition, to_json(&again)), (&plan.edition, to_json(&plan)));
    assert_eq!(plan.parts.keys().collect::<Vec<_>>(), ["block", "piston"]);
    assert_eq!(plan.works.shifts[0].start_minute, 360);
}

#[test]
fn a_file_that_includes_nothing_is_its_own_text() {
    let plan = sound(&[("works.toml", WORKS)]);
    assert_eq!(plan.text, WORKS);
}

#[test]
fn a_fault_names_the_included_file() {
    let works = format!("include = [\"parts.toml\"]\n{WORKS}unit = \"inch\"\n");
    let found = faults(&[("works.toml", &works), ("parts.toml", "[part.block]\nprefx = \"B\"\n")]);
    assert_eq!(
        found,
        [
            "works.toml:5:1: \"unit\" is not a key of [works]; did you mean \"units\"?",
            "parts.toml:2:1: \"prefx\" is not a key of [part.block]; did you mean \"prefix\"?",
        ]
    );
}

#[test]
fn a_thing_declared_in_two_files_is_refused_in_the_second() {
    let works = format!("include = [\"parts.toml\"]\n{WORKS}[part.block]\n");
    let found = faults(&[("works.toml", &works), ("parts.toml", "\n[part.block]\n")]);
    assert_eq!(found, ["parts.toml:2:7: \"block\" stands here a second time; keep one of the two"]);
}

#[test]
fn a_text_left_open_in_one_file_does_not_swallow_the_next() {
    let works = format!("include = [\"a.toml\", \"b.toml\"]\n{WORKS}");
    let found = faults(&[
        ("works.toml", &works),
        ("a.toml", "[part.block]\ntitle = \"\"\"Block\n"),
        ("b.toml", "[part.rod]\ntitle = \"\"\"Rod\"\"\"\n"),
    ]);
    assert_eq!(
        found,
        ["a.toml:3:1: this text of several lines is not closed; end it with the three quotes it \
          began with"]
    );
}

#[test]
fn a_key_before_the_first_table_of_an_included_file_is_refused() {
    let works = format!("include = [\"a.toml\"]\n{WORKS}");
    let found =
        faults(&[("works.toml", &works), ("a.toml", "# more\n units = \"inch\"\n[part.b]\n")]);
    assert_eq!(
        found,
        [
            "a.toml:2:2: an included file holds tables only; put this under the table it belongs to, \
          such as [works]"
        ]
    );
}

#[test]
fn what_cannot_be_included_is_named() {
    let works = format!(
        "include = [\"none.toml\", \"../a.toml\", \"/a.toml\", \"a.toml\", \"a.toml\", \
         \"works.toml\", 3]\n{WORKS}"
    );
    let found = faults(&[("works.toml", &works), ("a.toml", "[part.block]\n")]);
    let outside = "does not lie in the folder of the works file; a works is one folder: name a \
                   file in it, such as \"parts.toml\"";
    assert_eq!(
        found,
        [
            "works.toml:1:12: \"none.toml\" cannot be read (No such file or directory (os error \
             2)); name a file that lies beside the works file"
                .to_owned(),
            format!("works.toml:1:25: \"../a.toml\" {outside}"),
            format!("works.toml:1:38: \"/a.toml\" {outside}"),
            "works.toml:1:59: \"a.toml\" is included twice; name each file once".to_owned(),
            "works.toml:1:69: \"works.toml\" is included twice; name each file once".to_owned(),
            "works.toml:1:83: include is a list of file names; write it like include = \
             [\"parts.toml\"]"
                .to_owned(),
        ]
    );
}

#[test]
fn files_that_include_each_other_are_refused() {
    let works = format!("include = [\"a.toml\"]\n{WORKS}");
    let found = faults(&[
        ("works.toml", &works),
        ("a.toml", "include = [\"b.toml\"]\n"),
        ("b.toml", "include = [\"a.toml\"]\n"),
    ]);
    assert_eq!(found, ["b.toml:1:12: \"a.toml\" is included twice; name each file once"]);
}

#[test]
fn text_that_is_not_utf_8_is_refused_where_it_stops_being_so() {
    // 0xB5 is µ in ISO 8859-1 and no character in UTF-8.
    let latin = [WORKS.as_bytes(), b"[part.block]\n# 12 \xb5m\n"].concat();
    let (folder, works) = folder_of_bytes(&[("works.toml", &latin)]);
    let fault = read(&works).expect_err("not UTF-8");
    assert_eq!(
        named(&fault, &folder),
        ["works.toml:5:6: the text is not UTF-8 from here on; save the file as UTF-8"]
    );
    let main = format!("include = [\"a.toml\"]\n{WORKS}");
    let (folder, works) =
        folder_of_bytes(&[("works.toml", main.as_bytes()), ("a.toml", b"[part.\xe9]\n")]);
    let fault = read(&works).expect_err("not UTF-8");
    assert_eq!(
        named(&fault, &folder),
        ["a.toml:1:7: the text is not UTF-8 from here on; save the file as UTF-8"]
    );
    assert!(fault.text_of(&fault.faults[0]).starts_with("[part."));
}

#[test]
fn a_works_file_that_is_not_there_is_trouble_of_the_outside_world() {
    let (folder, works) = folder(&[]);
    let fault = read(&works).expect_err("there is none");
    assert_eq!(fault.unreadable, Some(std::io::ErrorKind::NotFound));
    assert_eq!(
        named(&fault, &folder),
        ["works.toml:1:1: there is no such file; name a works file that exists"]
    );
    assert!(read(folder.path()).expect_err("a folder").unreadable.is_some());
}
