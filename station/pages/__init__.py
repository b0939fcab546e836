"""Browser pages: server-rendered, one event stream, a little script; nothing is fetched from elsewhere."""
