// Package webui serves the guided conversation to browsers: a static page and a websocket bridge, and nothing else.
//
// The document comes in the language that the address ("?lang=de"), an earlier choice (cookie "lang") or the browser
// names, and in the night view where the cookie "look" says "night"; its safety card needs no script. Files below
// static/text hold the page's own words, one file a language; those below static/more what not every visitor opens.
//
// The page holds no diagnosis; it shows what the service says. It does hold the rules of danger and the words that warn
// (ListDangers), which stand in the document, so that it warns before any answer and without a signal. The bridge holds
// no state but the open sockets; it turns JSON frames into calls of the generated gRPC clients and back. Whatever a
// visitor sends can close that visitor's own socket and touch no other.
//
// # Frames
//
// The page sends text frames, each one JSON object of at most 16 KiB:
//
//	{"re": 7, "do": "answer", "request": {…}}
//
// "re" is a positive number chosen by the page, "do" names the call as the table in FRAMES.md does, and "request" is
// that call's request message in protojson, field names in lowerCamelCase. The bridge answers each frame, in order,
// with one of
//
//	{"re": 7, "reply": {…}}
//	{"re": 7, "error": {"code": "INVALID_ARGUMENT", "message": "…", "violations": [{"field": "…", "description": "…"}]}}
//
// and sends a watched conversation whenever it has changed:
//
//	{"push": {…}}
//
// An error may say "retryAfter", the seconds to wait before asking again, and "reason", the name of an ErrorReason of
// the API without its prefix, for programs. One call is the bridge's own: "sign_in" with
// {"token": "…"} makes later calls on the socket with that token, which is never part of an address.
//
// A socket watches one conversation; a later watch replaces it. "watch" is answered at once by an empty reply; if the
// stream breaks later, an error with the same "re" follows. A push is left out where a reply on the same socket has
// already carried that event, unless that was without its assessment. Fields that hold their default value are left out
// of JSON.
//
// # Closing
//
// The codes are those of RFC 6455, section 7.4, and of its registry: 1003 a binary frame, 1007 text that is not UTF-8
// or not such a JSON object, 1008 a frame without a positive "re", 1009 a frame above 16 KiB, 1012 the service restarts
// (dial again; a call under way has been answered), 1013 a page that goes on asking though told to wait (dial again
// later). A peer that reads too slowly or answers no ping is dropped; it may dial again and watch from the last event
// it has seen. A visitor with too many sockets is refused with HTTP status 429.
package webui
