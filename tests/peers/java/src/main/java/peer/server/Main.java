package peer.server;

import jakarta.servlet.DispatcherType;
import java.net.URI;
import java.nio.file.Files;
import java.util.EnumSet;
import org.eclipse.jetty.ee10.servlet.FilterHolder;
import org.eclipse.jetty.ee10.servlet.ServletContextHandler;
import org.eclipse.jetty.ee10.servlet.ServletHolder;
import org.eclipse.jetty.server.Server;
import org.eclipse.jetty.server.ServerConnector;
import org.eclipse.jetty.util.thread.QueuedThreadPool;
import org.springframework.context.annotation.AnnotationConfigApplicationContext;

/**
 * A FHIR R4 server on this machine only: HAPI's JPA store over H2, for tests.
 * It prints one line once it answers, and ends on SIGTERM.
 */
public final class Main {
    /** Requests at once, below the store's number of connections. */
    private static final int THREADS = 32;

    private Main() {
    }

    public static void main(String[] args) {
        try {
            run(Options.of(args));
        } catch (IllegalArgumentException e) {
            System.err.println("server: " + e.getMessage());
            System.exit(2);
        } catch (Exception e) {
            // Threads of the half-started store would keep this alive.
            System.err.println("server: does not start: " + e);
            System.exit(1);
        }
    }

    private static void run(Options options) throws Exception {
        if (options.data() != null) {
            Files.createDirectories(options.data());
        }
        AnnotationConfigApplicationContext beans =
            new AnnotationConfigApplicationContext();
        beans.registerBean(Options.class, () -> options);
        beans.register(Store.class);
        beans.refresh();
        Server server = serve(beans, options);
        Runtime.getRuntime().addShutdownHook(new Thread(() -> {
            stop(server);
            beans.close();
        }));
        String base = "http://127.0.0.1:"
            + ((ServerConnector) server.getConnectors()[0]).getLocalPort()
            + "/fhir";
        System.out.println("listening on " + base);
        System.out.flush();
        if (options.once()) {
            URI.create(base + "/metadata").toURL().openStream().close();
            System.exit(0);
        }
        server.join();
    }

    private static Server serve(AnnotationConfigApplicationContext beans,
        Options options) throws Exception {
        Server server = new Server(new QueuedThreadPool(THREADS));
        ServerConnector connector = new ServerConnector(server);
        connector.setHost("127.0.0.1");
        connector.setPort(options.port());
        server.addConnector(connector);
        ServletContextHandler root = new ServletContextHandler("/");
        ServletHolder holder = new ServletHolder(new Front(beans, options));
        holder.setInitOrder(1);
        root.addServlet(holder, "/fhir/*");
        if (options.log() != null) {
            root.addFilter(new FilterHolder(new RequestLog(options.log())),
                "/*", EnumSet.of(DispatcherType.REQUEST));
        }
        server.setHandler(root);
        server.start();
        return server;
    }

    private static void stop(Server server) {
        try {
            server.stop();
        } catch (Exception e) {
            System.err.println("stop: " + e.getMessage());
        }
    }
}
