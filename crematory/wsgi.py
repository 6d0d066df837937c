"""WSGI entry: `waitress-serve crematory.wsgi:application`."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "crematory.settings")
application = get_wsgi_application()

from chain_of_custody.triggers import require_installed  # noqa: E402 - the apps are ready now

require_installed()
