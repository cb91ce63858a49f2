"""The web page that plays a run: one HTML file, no server, no network.

``player.js`` is built from ``source/`` (npm ci && npm run build) and carries three.js under the MIT licence
of ``THREE_LICENSE.txt``; it is committed so that nobody needs Node.js to write a page.
"""
