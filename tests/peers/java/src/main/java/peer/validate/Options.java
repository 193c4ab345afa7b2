package peer.validate;

import ca.uhn.fhir.validation.ResultSeverityEnum;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.Locale;

/**
 * The command line.
 *
 * @param codeSystems a Bundle of the CodeSystems to know beside those of R4,
 *        null for none
 * @param least the mildest problem to print
 * @param selfTest whether to judge resources of its own instead of files
 * @param files what to read, empty for standard input
 */
record Options(Path codeSystems, ResultSeverityEnum least, boolean selfTest,
    List<Path> files) {
    static final String USAGE = "usage: validate [--codesystems BUNDLE]"
        + " [--least information|warning|error] [--self-test] [FILE ...]\n"
        + "  FILE.json holds one resource, any other FILE and standard input"
        + " one per line";

    static Options of(String[] args) {
        Path codeSystems = null;
        ResultSeverityEnum least = ResultSeverityEnum.WARNING;
        boolean selfTest = false;
        List<Path> files = new ArrayList<>();
        for (int i = 0; i < args.length; i++) {
            switch (args[i]) {
                case "--codesystems" ->
                    codeSystems = Path.of(value(args, ++i));
                case "--least" -> least = ResultSeverityEnum.valueOf(
                    value(args, ++i).toUpperCase(Locale.ROOT));
                case "--self-test" -> selfTest = true;
                default -> files.add(file(args[i]));
            }
        }
        return new Options(codeSystems, least, selfTest, files);
    }

    private static String value(String[] args, int at) {
        if (at >= args.length) {
            throw new IllegalArgumentException(
                args[at - 1] + " lacks its value\n" + USAGE);
        }
        return args[at];
    }

    private static Path file(String text) {
        if (text.startsWith("--")) {
            throw new IllegalArgumentException(
                "unknown argument " + text + "\n" + USAGE);
        }
        return Path.of(text);
    }
}
