"""The way to a device over HTTP: requests and answers, sign-in, trust, patience."""
