"""A collector of traces on loopback for the tests: it reads spans by OpenTelemetry's own published types (opentelemetry-proto).

Usage: trace_collector.py FOLDER. It writes its port to FOLDER/port, and each span as a line of JSON to FOLDER/spans, before it answers.
It ends when its standard input does.
"""

import json
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest, ExportTraceServiceResponse
from opentelemetry.proto.trace.v1.trace_pb2 import Span, Status

folder = Path(sys.argv[1])
lock = threading.Lock()


def plain(attributes):
    return {one.key: getattr(one.value, one.value.WhichOneof("value")) for one in attributes}


def spans(request):
    for of_resource in request.resource_spans:
        for of_scope in of_resource.scope_spans:
            for span in of_scope.spans:
                yield {
                    "resource": plain(of_resource.resource.attributes),
                    "trace": span.trace_id.hex(),
                    "id": span.span_id.hex(),
                    "parent": span.parent_span_id.hex(),
                    "name": span.name,
                    "kind": Span.SpanKind.Name(span.kind),
                    "status": Status.StatusCode.Name(span.status.code),
                    "nanoseconds": span.end_time_unix_nano - span.start_time_unix_nano,
                    "attributes": plain(span.attributes),
                    "events": len(span.events),
                }


class Collector(BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["content-length"]))
        fits = self.path == "/v1/traces" and self.headers["content-type"] == "application/x-protobuf"
        if fits:
            lines = [json.dumps(span) + "\n" for span in spans(ExportTraceServiceRequest.FromString(body))]
            with lock, open(folder / "spans", "a") as file:
                file.writelines(lines)
        answer = ExportTraceServiceResponse().SerializeToString()
        self.send_response(200 if fits else 400)
        self.send_header("content-type", "application/x-protobuf")
        self.send_header("content-length", str(len(answer)))
        self.end_headers()
        self.wfile.write(answer)

    def log_message(self, *_):
        pass


server = ThreadingHTTPServer(("127.0.0.1", 0), Collector)
threading.Thread(target=server.serve_forever, daemon=True).start()
(folder / "port.part").write_text(str(server.server_port))
(folder / "port.part").rename(folder / "port")
sys.stdin.read()
