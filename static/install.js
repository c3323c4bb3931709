// Under https a tablet stores what it needs to start without a connection. Where a person only dismissed the warning about
// the certificate, the browser refuses; everything else works.

navigator.serviceWorker?.register("/worker.js").catch(() => {});
