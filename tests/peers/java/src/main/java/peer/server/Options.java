package peer.server;

import java.nio.file.Path;

/**
 * The command line.
 *
 * @param port the TCP port on 127.0.0.1, 0 for any free one
 * @param data the folder of the database, null to keep it in memory
 * @param log the file that gets one JSON line per request, null for none
 * @param validate whether writes pass the instance validator first
 * @param lenient whether searches ignore parameters nobody knows
 * @param stale whether a search may be answered from one of the last minute,
 *        as HAPI ships it
 * @param once whether to end after one request of its own (a warm-up)
 */
public record Options(int port, Path data, Path log, boolean validate,
    boolean lenient, boolean stale, boolean once) {
    static final String USAGE = "usage: server --port N [--data FOLDER]"
        + " [--log FILE] [--validate] [--lenient] [--stale] [--once]";

    static Options of(String[] args) {
        int port = -1;
        Path data = null;
        Path log = null;
        boolean validate = false;
        boolean lenient = false;
        boolean stale = false;
        boolean once = false;
        for (int i = 0; i < args.length; i++) {
            switch (args[i]) {
                case "--port" -> port = portOf(value(args, ++i));
                case "--data" -> data = Path.of(value(args, ++i))
                    .toAbsolutePath();
                case "--log" -> log = Path.of(value(args, ++i))
                    .toAbsolutePath();
                case "--validate" -> validate = true;
                case "--lenient" -> lenient = true;
                case "--stale" -> stale = true;
                case "--once" -> once = true;
                default -> throw new IllegalArgumentException(
                    "unknown argument " + args[i] + "\n" + USAGE);
            }
        }
        if (port < 0) {
            throw new IllegalArgumentException("--port is missing\n" + USAGE);
        }
        return new Options(port, data, log, validate, lenient,
            stale, once);
    }

    private static String value(String[] args, int at) {
        if (at >= args.length) {
            throw new IllegalArgumentException(
                args[at - 1] + " lacks its value\n" + USAGE);
        }
        return args[at];
    }

    private static int portOf(String text) {
        int port = Integer.parseInt(text);
        if (port < 0 || port > 65535) {
            throw new IllegalArgumentException("no port: " + text);
        }
        return port;
    }
}
