"""The duty page: what stands on it, as records and pictures; no server and no database here."""
