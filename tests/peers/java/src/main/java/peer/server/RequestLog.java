package peer.server;

import com.fasterxml.jackson.databind.ObjectMapper;
import com.fasterxml.jackson.databind.node.ObjectNode;
import jakarta.servlet.FilterChain;
import jakarta.servlet.ServletException;
import jakarta.servlet.http.HttpFilter;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.io.UncheckedIOException;
import java.io.Writer;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardOpenOption;
import java.util.List;

/**
 * One JSON line per request that was answered, in the order of the answers:
 * what came in and what went out, so that a test can see what a client did.
 * Bodies and Authorization are left out.  The line is written once the answer
 * is on its way, so a client may be a moment ahead of it.
 */
final class RequestLog extends HttpFilter {
    private static final long serialVersionUID = 1L;
    private static final List<String> KEPT = List.of("Accept", "Content-Type",
        "If-Match", "If-None-Exist", "If-None-Match", "Prefer",
        "User-Agent", "X-Request-Id");

    private final transient ObjectMapper json = new ObjectMapper();
    private final transient Writer out;

    RequestLog(Path file) {
        try {
            out = Files.newBufferedWriter(file, StandardOpenOption.CREATE,
                StandardOpenOption.APPEND);
        } catch (IOException e) {
            throw new UncheckedIOException("request log " + file, e);
        }
    }

    @Override
    protected void doFilter(HttpServletRequest req, HttpServletResponse res,
        FilterChain chain) throws IOException, ServletException {
        long began = System.nanoTime();
        try {
            chain.doFilter(req, res);
        } finally {
            write(req, res.getStatus(), (System.nanoTime() - began) / 1000);
        }
    }

    private void write(HttpServletRequest req, int status, long took_us)
        throws IOException {
        ObjectNode line = json.createObjectNode();
        line.put("method", req.getMethod());
        line.put("path", req.getRequestURI());
        line.put("query", req.getQueryString());
        ObjectNode headers = line.putObject("headers");
        for (String name : KEPT) {
            if (req.getHeader(name) != null) {
                headers.put(name.toLowerCase(), req.getHeader(name));
            }
        }
        line.put("status", status);
        line.put("took_ms", took_us / 1000.0);
        synchronized (out) {
            out.write(json.writeValueAsString(line));
            out.write('\n');
            out.flush();
        }
    }
}
