//! The doors in: files and MQTT messages become events. Decides nothing about glucose.
