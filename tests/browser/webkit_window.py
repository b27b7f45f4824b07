"""A bare window of WebKitGTK that a WebDriver may drive and that keeps what its pages store.

    /usr/bin/python3 webkit_window.py FOLDER | --private

Run by the system's Python, which has the bindings to the system's WebKitGTK. The engine's own small
browser forgets everything between two drives; this one keeps it in ``FOLDER``, as a phone does.
"""

import sys
from typing import Any

SIZE_PX = (390, 844)


def main(kept_in: str) -> None:
    """Wait for the driver, show what it asks for, and end with the window."""
    import gi

    gi.require_version("Gtk", "3.0")
    gi.require_version("WebKit2", "4.1")
    from gi.repository import Gtk, WebKit2

    if kept_in == "--private":
        context = WebKit2.WebContext.new_ephemeral()
    else:
        manager = WebKit2.WebsiteDataManager(
            base_data_directory=f"{kept_in}/data", base_cache_directory=f"{kept_in}/cache"
        )
        context = WebKit2.WebContext(website_data_manager=manager)
    context.set_automation_allowed(True)
    window = Gtk.Window(default_width=SIZE_PX[0], default_height=SIZE_PX[1])
    window.connect("destroy", Gtk.main_quit)

    def show(_session: Any) -> Any:
        settings = WebKit2.Settings(enable_media_stream=True, enable_mock_capture_devices=True)
        view = WebKit2.WebView(
            web_context=context, is_controlled_by_automation=True, settings=settings
        )
        window.add(view)
        window.show_all()
        return view

    def begin(_context: Any, session: Any) -> None:
        about = WebKit2.ApplicationInfo()
        about.set_name("MiniBrowser")  # What the driver's client asks for.
        about.set_version(
            WebKit2.get_major_version(), WebKit2.get_minor_version(), WebKit2.get_micro_version()
        )
        session.set_application_info(about)
        session.connect("create-web-view", show)

    context.connect("automation-started", begin)
    Gtk.main()


if __name__ == "__main__":
    main(sys.argv[1])
