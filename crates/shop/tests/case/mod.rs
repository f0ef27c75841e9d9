//! One case of a reference file: inputs, expected values with their tolerance, source and status.

use serde_json::Value;

/// A case, read from the file's JSON.
pub(crate) struct Case(Value);

/// The case called `id` in the text of a reference file.
pub(crate) fn case(file: &str, id: &str) -> Case {
    let cases: Vec<Value> = serde_json::from_str(file).expect("a reference file is JSON");
    let found = cases.into_iter().find(|c| c["id"] == id);
    Case(found.unwrap_or_else(|| panic!("no case {id}")))
}

impl Case {
    /// An input.
    pub(crate) fn input(&self, name: &str) -> f64 {
        self.0["inputs"][name].as_f64().unwrap_or_else(|| panic!("no input {name}"))
    }

    /// A list among the inputs.
    #[allow(dead_code, reason = "not every test that shares this file needs it")]
    pub(crate) fn inputs(&self, name: &str) -> Vec<f64> {
        let list = self.0["inputs"][name].as_array().expect("a list");
        list.iter().map(|x| x.as_f64().expect("a number")).collect()
    }

    /// An input of any shape.
    #[allow(dead_code, reason = "not every test that shares this file needs it")]
    pub(crate) fn raw(&self, name: &str) -> &Value {
        &self.0["inputs"][name]
    }

    /// An expected value of any shape.
    #[allow(dead_code, reason = "not every test that shares this file needs it")]
    pub(crate) fn value(&self, name: &str) -> &Value {
        &self.expected(name)["value"]
    }

    fn expected(&self, name: &str) -> &Value {
        let list = self.0["expected"].as_array().expect("a list");
        list.iter().find(|e| e["name"] == name).unwrap_or_else(|| panic!("no value {name}"))
    }

    /// Holds `got` against the expected value within the case's own tolerance.
    pub(crate) fn check(&self, name: &str, got: f64) {
        let value = self.expected(name)["value"].as_f64().expect("a number");
        self.near(name, value, got);
    }

    /// Holds a whole list against the expected one.
    #[allow(dead_code, reason = "not every test that shares this file needs it")]
    pub(crate) fn check_all(&self, name: &str, got: &[f64]) {
        let values = self.expected(name)["value"].as_array().expect("a list");
        assert_eq!(values.len(), got.len(), "{} {name}", self.0["id"]);
        for (value, got) in values.iter().zip(got) {
            self.near(name, value.as_f64().expect("a number"), *got);
        }
    }

    fn near(&self, name: &str, value: f64, got: f64) {
        let expected = self.expected(name);
        let relative = expected["tol_rel"].as_f64().map_or(0.0, |t| t * value.abs());
        let allowed = expected["tol_abs"].as_f64().unwrap_or(relative);
        assert!(
            (got - value).abs() <= allowed,
            "{} {name}: {got} is not {value} within {allowed} ({}; {})",
            self.0["id"],
            self.0["source"],
            self.0["status"],
        );
    }
}
