# Leafweather alone; docker-compose.yml puts a broker beside it.
FROM python:3.12-slim

WORKDIR /opt/leafweather
COPY pyproject.toml constraints.txt README.md LICENSE ./
COPY farm farm
COPY store store
COPY analytics analytics
COPY ingest ingest
COPY watch watch
COPY handover handover
COPY api api
COPY simulator simulator
COPY leafweather leafweather
RUN pip install --no-cache-dir --constraint constraints.txt '.[influx]' \
 && useradd --system --create-home --home-dir /var/lib/leafweather leafweather

USER leafweather
ENV LEAFWEATHER_DATA=/var/lib/leafweather
EXPOSE 8800
HEALTHCHECK --interval=30s --timeout=5s --start-period=20s \
  CMD ["python", "-c", "import urllib.request; urllib.request.urlopen('http://127.0.0.1:8800/api/v1/alive', timeout=4)"]
ENTRYPOINT ["leafweather"]
CMD ["serve", "/etc/leafweather/farm.toml"]
