FROM python:3.11-slim-bookworm

# Pango sets the text of PDF pages; DejaVu has the letters that our own type lacks.
RUN apt-get update \
    && apt-get install -y --no-install-recommends libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core gettext \
    && rm -rf /var/lib/apt/lists/*

ENV PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1
WORKDIR /srv/portal
COPY requirements.txt ./
RUN pip install --no-cache-dir -r requirements.txt

COPY manage.py LICENSE ./
COPY fleet fleet
COPY shop shop
COPY templates templates

# Files for browsers get their names with a fingerprint now; what the portal writes later lies under .data.
RUN find fleet shop -name '*.po' -exec sh -c 'msgfmt -o "${1%.po}.mo" "$1"' _ {} \; \
    && useradd --system --uid 10001 --no-create-home portal \
    && mkdir .data media \
    && SECRET_KEY=build PUBLIC_URL=https://build.invalid DATABASE_URL=sqlite:////tmp/build.sqlite3 \
       python manage.py collectstatic --noinput --verbosity 0 \
    && chown -R portal .data media
USER portal

EXPOSE 8000
CMD ["gunicorn", "fleet.wsgi:application", "--bind", "0.0.0.0:8000", "--workers", "2", "--threads", "4", "--worker-tmp-dir", "/dev/shm", "--no-control-socket"]
